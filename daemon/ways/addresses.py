"""The addresses of the ways out: from a credential or a private file, and kept out of all that is shown.

An address is a secret as a whole: whoever has it can write in the grower's name. It has no `repr`.
"""

from __future__ import annotations

import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import unquote

from config.notify import Notify

CREDENTIAL = "notify-urls"
MOST_WAYS = 8
LARGEST_FILE = 65_536  # bytes
HIDDEN = "..."
SHORTEST_SECRET = 3  # characters; a shorter piece of an address is hidden only where it may be a password
_SCHEME = re.compile(r"[a-z][a-z0-9+.-]{0,30}://\S+", re.IGNORECASE)
_PIECES = re.compile(r"[/:@?&=#,;%+]+")


class WaysError(ValueError):
    """The addresses cannot be used. The message says where, and what to do; never an address."""


@dataclass(frozen=True, slots=True)
class Way:
    """One way out. name: what people see of it, as `way 1 (mailto)`; url: the secret."""

    name: str
    url: str = field(repr=False)


def read_ways(settings: Notify, environ: Mapping[str, str]) -> tuple[Way, ...]:
    """The ways of `urls_file`, else of the credential. Raises WaysError."""
    if settings.urls_file is not None:
        return ways_in(Path(settings.urls_file))
    folder = environ.get("CREDENTIALS_DIRECTORY")
    if not folder:
        raise WaysError(
            f"[notify] enabled: $CREDENTIALS_DIRECTORY is not set; run as the service, whose drop-in says "
            f"LoadCredential={CREDENTIAL}:/etc/evenwater/{CREDENTIAL}, or set [notify] urls_file"
        )
    return _parsed(_read(Path(folder, CREDENTIAL)), f"the credential {CREDENTIAL}")


def ways_in(file: Path) -> tuple[Way, ...]:
    """The ways of one file, which nobody but its owner may read. Raises WaysError."""
    try:
        mode = stat.S_IMODE(file.stat().st_mode)
    except OSError as error:
        raise WaysError(f"{file}: cannot be read ({error.strerror})") from error
    if mode & 0o077:
        raise WaysError(f"{file}: has mode {mode:04o}, others may read it: chmod 600 {file}")
    return _parsed(_read(file), str(file))


def _read(file: Path) -> str:
    try:
        with file.open("rb") as source:
            content = source.read(LARGEST_FILE + 1)
        if len(content) > LARGEST_FILE:
            raise WaysError(f"{file}: larger than {LARGEST_FILE} bytes: one address a line")
        return content.decode()
    except OSError as error:
        raise WaysError(f"{file}: cannot be read ({error.strerror})") from error
    except UnicodeDecodeError:  # its words would show a piece of what was read
        raise WaysError(f"{file}: is no text: one address a line") from None


def _parsed(text: str, where: str) -> tuple[Way, ...]:
    """One address a line; empty lines and those that begin with # are passed over."""
    found: list[Way] = []
    for number, line in enumerate(text.splitlines(), start=1):
        url = line.strip()
        if not url or url.startswith("#"):
            continue
        if _SCHEME.fullmatch(url) is None:
            raise WaysError(f"{where}, line {number}: is no address of the form service://...")
        found.append(Way(f"way {len(found) + 1} ({url.partition('://')[0].lower()})", url))
    if not found:
        raise WaysError(f"{where}: has no address in it; write one a line, as service://...")
    if len(found) > MOST_WAYS:
        raise WaysError(f"{where}: has {len(found)} addresses, at most {MOST_WAYS} are allowed")
    return tuple(found)


def redacted(text: str, url: str) -> str:
    """The text without any piece of the address but its scheme."""
    scheme, _, rest = url.partition("://")
    private = rest.rpartition("@")[0]  # user and password, be they ever so short
    for piece in sorted(_pieces(rest, SHORTEST_SECRET) | _pieces(private, 1), key=len, reverse=True):
        if piece.lower() != scheme.lower():
            text = re.sub(re.escape(piece), HIDDEN, text, flags=re.IGNORECASE)
    return text


def _pieces(part: str, shortest: int) -> set[str]:
    """What stands between the signs of an address, as it is and as a service may repeat it."""
    both = (part, unquote(part))
    found = {each for one in both for each in (one, *_PIECES.split(one), *re.split(r"[/?&=@]+", one))}
    return {each for each in found if len(each) >= shortest}
