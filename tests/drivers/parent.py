"""A parent to be killed: opens a keeper on the rig of its first argument and runs GPIO 17 for 20 s."""

from __future__ import annotations

import json
import sys

from drivers.keeping import KeeperChild

if __name__ == "__main__":
    KeeperChild(json.loads(sys.argv[1]), [17, 27]).run(17, 20.0)
