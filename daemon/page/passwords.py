"""The passwords of the page, as scrypt keys in a file that only its owner may read. Set at the tank.

The one of the holder lets in and, given again, lets dose; that of a guest lets look. Where the service manager
hands over a credential, that is the file; else it lies in the state folder.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import os
import secrets
import unicodedata
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from daemon.disk import write_whole
from daemon.page.views.forms import LONGEST
from daemon.page.visitor import Rank

FILE = "page-password"
MODE = 0o600
SHORTEST = 10  # characters
SALT_BYTES, KEY_BYTES = 16, 32
# RFC 7914 with N = 2^14, r = 8: 16 MB while it reckons, five times over; a common recommendation, from memory
N, R, P = 2**14, 8, 5
MOST_N, MOST_R, MOST_P = 4 * N, R, 16  # of a file; more would be a way to fill the memory
RANKS = (Rank.HOLDER, Rank.GUEST)


class PasswordError(ValueError):
    """A password that may not be one, or a file of them that cannot be used. The message says what to do."""


@dataclass(frozen=True, slots=True)
class Key:
    """What is kept of one password: scrypt's three numbers; salt and key in hexadecimal digits."""

    salt: str
    key: str
    n: int
    r: int
    p: int

    def is_of(self, password: str) -> bool:
        """Whether this password makes it; takes as long for one that does not."""
        found = made(password, bytes.fromhex(self.salt), self.n, self.r, self.p)
        return hmac.compare_digest(found, bytes.fromhex(self.key))


@dataclass(frozen=True, slots=True)
class Keys:
    """Of the holder, and of a guest where there is one. Neither: no password is set."""

    holder: Key | None = None
    guest: Key | None = None

    def rank_of(self, password: str) -> Rank | None:
        """Whose password it is, None for nobody's. Takes the same time for each."""
        found: Rank | None = None
        for rank, key in ((Rank.GUEST, self.guest), (Rank.HOLDER, self.holder)):
            if key is not None and key.is_of(password):
                found = rank
        return found


def key_of(password: str) -> Key:
    """What to keep of a new password. Raises PasswordError for one that is too short or too long."""
    if not SHORTEST <= len(password) <= LONGEST:
        raise PasswordError(f"a password of {len(password)} characters: must have {SHORTEST} to {LONGEST}")
    salt = secrets.token_bytes(SALT_BYTES)
    return Key(salt.hex(), made(password, salt, N, R, P).hex(), N, R, P)


def made(password: str, salt: bytes, n: int, r: int, p: int) -> bytes:
    """RFC 7914. Characters that look the same are made the same first (NFKC), whatever the keyboard."""
    text = unicodedata.normalize("NFKC", password).encode("utf-8", "replace")
    return hashlib.scrypt(text, salt=salt, n=n, r=r, p=p, maxmem=(n + p + 2) * 128 * r + 2**16, dklen=KEY_BYTES)


class PasswordFile:
    """The file, read again whenever it has changed."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._seen: tuple[int, int, int] | None = None
        self._keys = Keys()

    def keys(self) -> Keys:
        """Those that are set now; an absent or empty file has none. Raises PasswordError for a spoiled one."""
        try:
            is_ = self.path.stat()
            seen = (is_.st_mtime_ns, is_.st_ino, is_.st_size)
            if seen != self._seen:
                self._keys = _parsed(self.path.read_text(encoding="utf-8"))
                self._seen = seen
        except FileNotFoundError:
            self._seen, self._keys = None, Keys()
        except (OSError, ValueError, TypeError, KeyError, AttributeError) as trouble:
            self._seen = None
            raise PasswordError(
                f"{self.path}: cannot be read as the page's passwords ({trouble}); set them anew at the tank: "
                "evenwater page --set-password"
            ) from trouble
        return self._keys

    def set(self, rank: Rank, key: Key | None) -> None:
        """Put this one in place of what it was; None for none. Raises PasswordError, OSError."""
        keys = replace(self.keys(), **{rank.value: key})
        raw = {of.value: asdict(kept) for of in RANKS if (kept := getattr(keys, of.value)) is not None}
        mask = os.umask(0o777 & ~MODE)
        try:
            write_whole(self.path, json.dumps(raw, indent=1) + "\n")
        finally:
            os.umask(mask)


def place_of(folder: Path, environ: Mapping[str, str]) -> Path:
    """The credential, where the service manager handed one over; else the file in the state folder."""
    handed = environ.get("CREDENTIALS_DIRECTORY")
    credential = Path(handed, FILE) if handed else None
    return credential if credential is not None and credential.exists() else folder / FILE


def _parsed(text: str) -> Keys:
    if not text.strip():
        return Keys()
    raw = json.loads(text)
    if not isinstance(raw, dict) or set(raw) - {rank.value for rank in RANKS}:
        raise ValueError("it must hold holder and guest, nothing else")
    return Keys(**{rank: _key(of) for rank, of in raw.items()})


def _key(raw: Mapping[str, Any]) -> Key:
    key = Key(**raw)
    salt, made = bytes.fromhex(key.salt), bytes.fromhex(key.key)
    within = key.n in (N, 2 * N, MOST_N) and R <= key.r <= MOST_R and 1 <= key.p <= MOST_P
    if not (within and len(salt) >= SALT_BYTES and len(made) == KEY_BYTES):
        raise ValueError("a key is too weak, too costly or cut off")
    return key
