"""How soon a password may be tried again: by one address, and by all together. No clock in it."""

from __future__ import annotations

import ipaddress
from collections import deque
from dataclasses import dataclass

FREE = 5  # wrong ones from one address before it has to wait
LONGEST_S = 900.0  # that it has to wait; twice as long after each
FORGOTTEN_S = 3600.0  # since its last wrong one
IN_ALL, WITHIN_S = 20, 60.0  # wrong ones from everywhere
MOST_REMEMBERED = 1000  # addresses


@dataclass(slots=True)
class _Tried:
    wrong: int
    last_s: float


class Attempts:
    """Wrong passwords of late. Each try counts as wrong from its beginning until it is known to be right."""

    def __init__(self) -> None:
        self._tried: dict[str, _Tried] = {}
        self._all: deque[float] = deque(maxlen=IN_ALL)

    def wait_s(self, address: str, now_s: float) -> float:
        """For how long nothing may be tried from there; 0 for a try that may begin now."""
        while self._all and not now_s - self._all[0] < WITHIN_S:
            self._all.popleft()
        of_all = self._all[0] + WITHIN_S - now_s if len(self._all) >= IN_ALL else 0.0
        tried = self._tried.get(_group(address))
        if tried is None or not now_s - tried.last_s < FORGOTTEN_S or tried.wrong < FREE:
            return max(0.0, of_all)
        own = tried.last_s + min(LONGEST_S, 2.0 ** min(tried.wrong - FREE, 30)) - now_s
        return max(0.0, own, of_all)

    def begins(self, address: str, now_s: float) -> None:
        """A try begins, which counts as wrong."""
        group = _group(address)
        tried = self._tried.pop(group, None)
        fresh = tried is None or not now_s - tried.last_s < FORGOTTEN_S
        self._tried[group] = _Tried(1 if tried is None or fresh else tried.wrong + 1, now_s)
        self._all.append(now_s)
        while len(self._tried) > MOST_REMEMBERED:
            del self._tried[next(iter(self._tried))]  # the one longest without a try

    def wrong(self, address: str, now_s: float) -> None:
        """The last try from there was wrong, which is known now: the wait begins."""
        if (tried := self._tried.get(_group(address))) is not None:
            tried.last_s = now_s

    def right(self, address: str, *, forgets: bool) -> None:
        """The last try from there was right. forgets: so is what was wrong before.

        A guest's does not forget: else whoever knows it could guess at the other for ever.
        """
        if self._all:
            self._all.pop()
        tried = self._tried.get(_group(address))
        if tried is not None:
            tried.wrong = 0 if forgets else tried.wrong - 1


def _group(address: str) -> str:
    """The address, of IPv6 the network that one household has to itself (64 bits)."""
    try:
        parsed = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if parsed.version == 4:
        return str(parsed)
    return str(parsed.ipv4_mapped or ipaddress.ip_network(f"{parsed}/64", strict=False))
