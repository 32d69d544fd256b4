"""Who looks at the page, and what is offered to them. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Rank(StrEnum):
    """What somebody gave to be let in."""

    OPEN = "open"  # nothing: no password is set, and only this box itself is listened to
    HOLDER = "holder"  # the password
    GUEST = "guest"  # the guest password: looks, and does nothing


_SAID = {Rank.OPEN: "page", Rank.HOLDER: "page, password holder", Rank.GUEST: "page, guest"}


@dataclass(frozen=True, slots=True)
class Visitor:
    """token: what this visitor's own forms carry, and nobody else knows. address: where they ask from."""

    rank: Rank
    token: str
    address: str = ""

    @property
    def may_act(self) -> bool:
        """Whether forms are offered at all."""
        return self.rank is not Rank.GUEST

    @property
    def may_raise(self) -> bool:
        """Whether what may make it dose is offered; the password is asked for again with each of it."""
        return self.rank is Rank.HOLDER

    @property
    def said(self) -> str:
        """Who asks, for the ledger: `page, password holder, from 192.0.2.4`."""
        return f"{_SAID[self.rank]}, from {self.address or 'this box'}"
