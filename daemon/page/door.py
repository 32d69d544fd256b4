"""Who is let in: by no password where none is set, by a session else; and how often a password may be tried."""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from daemon.page.attempts import Attempts
from daemon.page.passwords import Keys, PasswordFile
from daemon.page.sessions import Sessions
from daemon.page.visitor import Rank, Visitor


@dataclass(frozen=True, slots=True)
class Tried:
    """What came of a password: whose it is, None for nobody's; and for how long none may be tried from there."""

    rank: Rank | None
    wait_s: float


class Door:
    """Asked by the thread that serves; reckoning on a password is done beside it, one at a time.

    Once a password has been seen, nobody comes in without one any more, whatever becomes of the file.
    """

    def __init__(self, passwords: PasswordFile, now_s: Callable[[], float]) -> None:
        self._passwords, self._now_s = passwords, now_s
        self._sessions = Sessions(now_s)
        self._attempts = Attempts()
        self._token = secrets.token_urlsafe(32)  # of all who come in without a password
        self._reckoner = ThreadPoolExecutor(1, "password")
        self._known: Keys = passwords.keys()
        self._locked = self._known.holder is not None

    def visitor(self, identity: str, address: str, *, by_itself: bool = False) -> Visitor | None:
        """Who that is; None for somebody to be asked for a password. Raises PasswordError.

        identity: what the browser kept of its login. by_itself: the page looks, not a person.
        """
        self._look_at_passwords()
        if not self._locked:
            return Visitor(Rank.OPEN, self._token, address)
        session = self._sessions.of(identity, by_itself=by_itself)
        return None if session is None else Visitor(session.rank, session.token, address)

    async def tried(self, password: str, address: str, *, of_holder: bool = False) -> Tried:
        """Whose password that is. of_holder: only the holder's is right. Raises PasswordError."""
        keys = self._look_at_passwords()
        wait_s = self._attempts.wait_s(address, self._now_s())
        if wait_s > 0.0:
            return Tried(None, wait_s)
        self._attempts.begins(address, self._now_s())
        rank = await asyncio.get_running_loop().run_in_executor(self._reckoner, keys.rank_of, password)
        if rank is None or (of_holder and rank is not Rank.HOLDER):
            self._attempts.wrong(address, self._now_s())
            return Tried(None, self._attempts.wait_s(address, self._now_s()))
        self._attempts.right(address, forgets=rank is Rank.HOLDER)
        return Tried(rank, 0.0)

    def login(self, rank: Rank) -> str:
        """What the browser is to keep of it."""
        return self._sessions.begin(rank)[0]

    def logout(self, identity: str) -> None:
        """Whoever logged in with it is out."""
        self._sessions.end(identity)

    def close(self) -> None:
        """Reckon no more."""
        self._reckoner.shutdown(wait=False, cancel_futures=True)

    def _look_at_passwords(self) -> Keys:
        """The passwords now; where they have changed, everybody has to log in anew."""
        keys = self._passwords.keys()
        if keys != self._known:
            self._known = keys
            self._sessions.end_all()
        self._locked = self._locked or keys.holder is not None
        return keys
