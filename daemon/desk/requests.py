"""What a person or a program asks of the running loop. Links put these in a queue; the loop answers.

Only the loop acts on a request, between passes, on its own thread.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from threading import Event
from typing import Any


class Origin(StrEnum):
    """Where a request came from, the least trusted first. Only someone at the tank may raise dosing again.

    A controller that the settings name may release, where the grower wants that.
    """

    REMOTE = "remote"  # MQTT: anyone the broker lets in
    VOUCHED = "vouched"  # MQTT, with the nonce of just now: no replay
    SIGNED = "signed"  # MQTT, signed by a controller that the settings name
    LOCAL = "local"  # the control socket: a person with a shell on this box

    def is_at_least(self, other: Origin) -> bool:
        """Whether it is trusted as much as that one."""
        order = list(Origin)
        return order.index(self) >= order.index(other)


class RequestRefused(ValueError):  # noqa: N818 - a refusal is an answer, in this house's words
    """The loop will not do it. The message says what, why and what to do instead."""


class UnknownMethod(RequestRefused):
    """No request has this name."""


class WrongParams(RequestRefused):
    """The request is known, but its parameters are missing, unknown or of the wrong kind."""


@dataclass(frozen=True, slots=True)
class Request:
    """One thing asked. `answer` is called once, from the loop's thread, with a result or a RequestRefused.

    given_up: set by a link whose asker no longer waits; what turns a pump is then not begun any more.
    by: who asks, in the words of the program that asks for them; "" for whoever sits there.
    """

    method: str
    params: Mapping[str, Any]
    origin: Origin
    answer: Callable[[Any], None]
    given_up: Event = field(default_factory=Event, compare=False)
    by: str = ""

    @property
    def who(self) -> str:
        """Who asks, for the ledger: `local`, or `local, page, password holder, from 192.0.2.4`."""
        return f"{self.origin.value}, {self.by}" if self.by else self.origin.value
