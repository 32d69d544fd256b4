"""What the service manager is told: started, still passing, stopping. A plain datagram, no library.

Source of the protocol: the manual page sd_notify(3) of systemd.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping

READY = "READY=1"
ALIVE = "WATCHDOG=1"  # only at the end of a completed pass
STOPPING = "STOPPING=1"

PASSES_PER_WATCHDOG = 3.0


def tell(*words: str, environ: Mapping[str, str] = os.environ) -> bool:
    """Send words to the service manager; whether it took them. Never waits and never raises.

    Without a service manager ($NOTIFY_SOCKET is not set) nothing is sent. An address that starts with @ is in
    the abstract namespace, where a zero byte stands for the @.
    """
    address = environ.get("NOTIFY_SOCKET", "")
    if not address:
        return False
    if address.startswith("@"):
        address = "\0" + address[1:]
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as line:
            line.sendto("\n".join(words).encode(), socket.MSG_DONTWAIT, address)
    except OSError:
        return False
    return True


def watchdog_for(pass_every_s: float, environ: Mapping[str, str] = os.environ) -> tuple[str, ...]:
    """The word that lengthens the unit's watchdog to three passes, none where it is long enough or not set.

    To be sent with READY. A shorter watchdog is never asked for.
    """
    asked_usec = int(environ.get("WATCHDOG_USEC") or 0)
    wanted_usec = round(PASSES_PER_WATCHDOG * pass_every_s * 1e6)
    return (f"WATCHDOG_USEC={wanted_usec}",) if 0 < asked_usec < wanted_usec else ()
