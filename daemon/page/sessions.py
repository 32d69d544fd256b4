"""Who is logged in: kept here and nowhere else, so a restart of the page logs everybody out."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from daemon.page.visitor import Rank

MOST = 200  # at once; one more ends the one that was longest without a look
ID_BYTES = 32
HOUR_S, DAY_S = 3600.0, 86400.0
ENDS_S: Mapping[Rank, tuple[float, float]] = {
    Rank.HOLDER: (12 * HOUR_S, 7 * DAY_S),
    Rank.GUEST: (30 * DAY_S, 30 * DAY_S),
}
"""After so long without a look of a person's own, and after so long at the latest."""


@dataclass(slots=True)
class Session:
    """One login. token: what its own forms carry."""

    rank: Rank
    begun_s: float
    seen_s: float
    token: str = field(default_factory=lambda: secrets.token_urlsafe(ID_BYTES))

    def over(self, now_s: float) -> bool:
        """Whether it has ended by itself."""
        idle_s, longest_s = ENDS_S[self.rank]
        return not (now_s - self.seen_s < idle_s and now_s - self.begun_s < longest_s)


class Sessions:
    """All logins, by what only the browser knows; of that, a digest is kept."""

    def __init__(self, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._kept: dict[bytes, Session] = {}

    def begin(self, rank: Rank) -> tuple[str, Session]:
        """A login of this rank: what the browser is to keep, and the session."""
        now_s = self._now_s()
        identity = secrets.token_urlsafe(ID_BYTES)
        self._kept[_digest(identity)] = session = Session(rank, now_s, now_s)
        while len(self._kept) > MOST:
            del self._kept[min(self._kept, key=lambda digest: self._kept[digest].seen_s)]
        return identity, session

    def of(self, identity: str, *, by_itself: bool = False) -> Session | None:
        """The session of what a browser sent, if it has not ended.

        by_itself: the page looks, not a person, which does not make it last longer.
        """
        digest = _digest(identity)
        session = self._kept.get(digest)
        if session is None:
            return None
        now_s = self._now_s()
        if session.over(now_s):
            del self._kept[digest]
            return None
        if not by_itself:
            session.seen_s = now_s
        return session

    def end(self, identity: str) -> None:
        """Log out. Twice is harmless."""
        self._kept.pop(_digest(identity), None)

    def end_all(self) -> None:
        """Log everybody out: the passwords have changed."""
        self._kept.clear()


def _digest(identity: str) -> bytes:
    return hashlib.sha256(identity.encode("utf-8", "replace")).digest()
