"""`evenwater page`: the page to look at, in a process of its own beside the daemon."""

from __future__ import annotations

import argparse
import os
import sys
from getpass import getpass
from pathlib import Path
from typing import Any

from daemon.cli.ask import add_command
from daemon.cli.where import state_folder
from daemon.page.glimpse import Daemon
from daemon.page.passwords import Key, PasswordError, PasswordFile, key_of, place_of
from daemon.page.place import PORT, AddressError, placed
from daemon.page.visitor import Rank

HIGHEST_PORT = 65535
EPILOG = f"""\
examples:
  evenwater page                                       then open http://127.0.0.1:{PORT}/ on this box
  evenwater page --port 8500 --state /var/lib/evenwater
  ssh -L {PORT}:127.0.0.1:{PORT} the-box                     from elsewhere, then the same address there
  evenwater page --set-password                        at the tank; --set-password guest for one that only looks
  evenwater page --address 0.0.0.0 --name box.lan --certificate box.pem --key box-key.pem
  evenwater page --behind-proxy --name garden.lan      a reverse proxy on this box speaks TLS for it

Without a password it listens on this box only: it looks, pauses and acknowledges; what could make a pump run is
done at the tank. With one, whoever has it may release and clear from the page too, giving it again each time, and
the ledger keeps who did. On the network it wants a password and TLS. docs/page.md tells it all.
"""


def add_commands(commands: Any) -> None:
    """page."""
    parser = add_command(commands, "page", "a page to look at: values, trends, doses, alarms", EPILOG)
    parser.add_argument(
        "--address",
        default="127.0.0.1",
        help="address to listen on (default 127.0.0.1: this box only)",
    )
    parser.add_argument("--port", type=_port, default=PORT, help=f"0 for any that is free (default {PORT})")
    parser.add_argument(
        "--name", action="append", default=[], help="a name that browsers call this box by; may be given again"
    )
    parser.add_argument("--certificate", type=Path, metavar="FILE", help="for TLS: certificate and chain, PEM")
    parser.add_argument("--key", type=Path, metavar="FILE", help="for TLS: its private key, PEM")
    parser.add_argument(
        "--behind-proxy",
        action="store_true",
        help="a reverse proxy on this box speaks TLS for it",
    )
    parser.add_argument(
        "--set-password",
        nargs="?",
        const=Rank.HOLDER.value,
        choices=(Rank.HOLDER.value, Rank.GUEST.value),
        metavar="guest",
        help="ask for a new password, twice, and end; with guest: for one that only looks",
    )
    parser.add_argument("--forget-guest", action="store_true", help="let no guest in any more, and end")
    parser.add_argument(
        "--password-file",
        type=Path,
        metavar="FILE",
        help="where the passwords are kept (default: the credential page-password, else the state folder)",
    )
    parser.set_defaults(act=_page)


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) <= HIGHEST_PORT):
        raise argparse.ArgumentTypeError(f"{text!r}: must be a whole number from 0 to {HIGHEST_PORT}")
    return int(text)


def _page(arguments: argparse.Namespace) -> int:
    folder = state_folder(arguments.state)
    passwords = PasswordFile(arguments.password_file or place_of(folder, os.environ))
    try:
        if arguments.forget_guest:
            return _forget_guest(passwords)
        if arguments.set_password is not None:
            return _set(passwords, Rank(arguments.set_password))
        return _serve(arguments, folder, passwords)
    except (AddressError, PasswordError) as wrong:
        print(f"evenwater page: {wrong}", file=sys.stderr)
        return 2


def _serve(arguments: argparse.Namespace, folder: Path, passwords: PasswordFile) -> int:
    from daemon.page.answers import Page
    from daemon.page.server import PageServer

    place = placed(
        arguments.address,
        arguments.port,
        names=arguments.name,
        certificate=arguments.certificate,
        key=arguments.key,
        behind_proxy=arguments.behind_proxy,
        has_password=passwords.keys().holder is not None,
    )
    try:
        server = PageServer(place, Page(folder, Daemon(folder)), passwords)
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


# passwords


def _set(passwords: PasswordFile, rank: Rank) -> int:
    """Ask for it, twice and hidden, at a terminal: whoever may let it dose more is at the tank when saying so."""
    if not sys.stdin.isatty():
        print("evenwater page: --set-password: is typed at a terminal of this box, not piped in", file=sys.stderr)
        return 2
    if rank is Rank.GUEST and passwords.keys().holder is None:
        raise PasswordError("a guest's password is set beside the other: evenwater page --set-password first")
    whose = "the guest password (looks only)" if rank is Rank.GUEST else "the password of the page"
    typed = getpass(f"New for {whose}: ")
    key = key_of(typed)
    if getpass("The same once more: ") != typed:
        raise PasswordError("the two are not the same: nothing was changed, begin again")
    if rank is Rank.GUEST and (holder := passwords.keys().holder) is not None and holder.is_of(typed):
        raise PasswordError("the guest's must be another than the holder's: nothing was changed")
    return _kept(passwords, rank, key, f"{whose} is set; whoever is logged in has to log in anew")


def _forget_guest(passwords: PasswordFile) -> int:
    return _kept(passwords, Rank.GUEST, None, "no guest is let in any more")


def _kept(passwords: PasswordFile, rank: Rank, key: Key | None, said: str) -> int:
    try:
        passwords.set(rank, key)
    except OSError as trouble:
        print(f"evenwater page: {passwords.path} cannot be written ({trouble}): use sudo?", file=sys.stderr)
        return 1
    print(f"{said} ({passwords.path})")
    return 0
