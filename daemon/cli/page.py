"""`evenwater page`: the page to look at, in a process of its own beside the daemon."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from daemon.cli.ask import add_command
from daemon.cli.where import state_folder
from daemon.page.glimpse import Daemon
from daemon.page.server import PORT, AddressError, Page, PageServer

HIGHEST_PORT = 65535
EPILOG = f"""\
examples:
  evenwater page                                       then open http://127.0.0.1:{PORT}/ on this box
  evenwater page --port 8500 --state /var/lib/evenwater
  ssh -L {PORT}:127.0.0.1:{PORT} the-box                     from elsewhere, then the same address there

It listens on this machine only, and asks for no password: a reverse proxy before it must, with TLS.
It looks, pauses and acknowledges; what could make a pump run is done at the tank.
"""


def add_commands(commands: Any) -> None:
    """page."""
    parser = add_command(commands, "page", "a page to look at: values, trends, doses, alarms", EPILOG)
    parser.add_argument(
        "--address", default="127.0.0.1", help="loopback address to listen on (default 127.0.0.1)"
    )
    parser.add_argument("--port", type=_port, default=PORT, help=f"0 for any that is free (default {PORT})")
    parser.set_defaults(act=_page)


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) <= HIGHEST_PORT):
        raise argparse.ArgumentTypeError(f"{text!r}: must be a whole number from 0 to {HIGHEST_PORT}")
    return int(text)


def _page(arguments: argparse.Namespace) -> int:
    folder = state_folder(arguments.state)
    try:
        server = PageServer(arguments.address, arguments.port, Page(folder, Daemon(folder)))
    except AddressError as wrong:
        print(f"evenwater page: {wrong}", file=sys.stderr)
        return 2
    except OSError as trouble:
        where = f"{arguments.address} port {arguments.port}"
        print(
            f"evenwater page: cannot listen on {where} ({trouble}): is a page running already? Else take --port",
            file=sys.stderr,
        )
        return 1
    with server:
        print(f"the page of {folder} is at {server.url} (end it with Ctrl-C)", flush=True)
        server.serve_forever()
    return 0
