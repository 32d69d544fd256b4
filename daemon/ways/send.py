"""A process of its own that sends one message one way and ends: `python -m daemon.ways.send`.

What it is to do comes by its standard input, so that no address stands in a command line, where every user of the
machine could read it. What came of it goes out as one line of JSON. Whoever started it ends it when it takes too
long: a service that hangs keeps nobody waiting.
"""

from __future__ import annotations

import json
import logging
import sys
from typing import Any

import apprise

from daemon.ways.addresses import redacted

LONGEST_ANSWER = 300  # characters


def main() -> int:
    """0 once the line is out, be the message delivered or not."""
    order = json.loads(sys.stdin.read())
    delivered, said = deliver(order["url"], order["title"], order["text"])
    print(json.dumps({"delivered": delivered, "said": redacted(said, order["url"])[:LONGEST_ANSWER]}))
    return 0


def deliver(url: str, title: str, text: str) -> tuple[bool, str]:
    """Whether the service took it, and what was said."""
    service = apprise.Apprise()
    listening = apprise.LogCapture(level=logging.WARNING, fmt="%(message)s")  # type: ignore[no-untyped-call]
    with listening as told:
        if not service.add(url):
            return False, "the address is of no known service, or lacks a part of it"
        try:
            delivered = bool(service.notify(title=title, body=text))
        except (OSError, ValueError, TypeError, LookupError, AttributeError) as error:  # of any service's plugin
            return False, f"{type(error).__name__}: {error}"
        return delivered, "" if delivered else _last_words(told.getvalue())


def _last_words(log: Any) -> str:
    lines = [line.strip() for line in str(log).splitlines() if line.strip()]
    return "; ".join(lines[-2:]) or "not delivered"


if __name__ == "__main__":
    sys.exit(main())
