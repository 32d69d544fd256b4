"""Which commands that arrive over MQTT are acted on. No network here: messages in, verdicts out.

    hold                     anyone whom the broker lets in: pausing is the safe direction
    ack, shelve, unshelve    only with the nonce that the box shows just now, and an id that is new
    release                  as these, and signed by a controller that the settings name

    {"id": "7f3a", "nonce": "<box/nonce>", "do": "ack", "keys": ["bed1-ph-probe"]}     to box/request/set

Nothing else can be asked for. What is retained, replayed, late, too large, malformed or too frequent is ignored
and counted; so are wrong signatures. A nonce serves once, and for a minute; ids that were used are kept over
restarts. The signature is HMAC-SHA256 (RFC 2104), in hex, by the controller's key over "id nonce do reservoir".
"""

from __future__ import annotations

import hmac
import json
import logging
import secrets
from collections import Counter, deque
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from daemon.desk.requests import Origin
from daemon.disk import keep_if_may_be, recalled

LOG = logging.getLogger(__name__)
LARGEST = 1_024  # bytes of a command
NONCE_S = 60.0
BETWEEN_S = 60.0  # one accepted command a minute
KEPT_IDS = 1_000
LATELY_S = 600.0
MANY = 3  # ignored lately, and a person should know


class Ignored(StrEnum):
    """Why a command is not acted on."""

    RETAINED = "retained"
    TOO_LARGE = "too_large"
    MALFORMED = "malformed"
    LATE = "late"  # not with the nonce of just now
    REPLAYED = "replayed"
    TOO_SOON = "too_soon"
    UNSIGNED = "unsigned"


class _Command(BaseModel):
    """One command as it must be written."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)

    id: str = Field(pattern=r"^[A-Za-z0-9_-]{1,64}$")
    nonce: str = Field(max_length=64)
    do: Literal["ack", "shelve", "unshelve", "release"]
    keys: list[str] | None = Field(default=None, max_length=20)
    key: str | None = Field(default=None, max_length=200)
    hours: float | None = None
    reservoir: str | None = Field(default=None, max_length=64)
    controller: str | None = Field(default=None, max_length=64)
    signature: str | None = Field(default=None, max_length=64)

    def params(self) -> dict[str, Any]:
        """What the loop is asked with."""
        asked = {"keys": self.keys, "key": self.key, "hours": self.hours, "reservoir": self.reservoir}
        return {name: value for name, value in asked.items() if value is not None}


@dataclass(frozen=True, slots=True)
class Command:
    """A command to act on: what the loop is asked, and how far its sender is known."""

    id: str
    method: str
    params: Mapping[str, Any]
    origin: Origin


class Gate:
    """Judges commands. path: where used ids are kept; keys: of controllers that may release, by name."""

    def __init__(self, path: Path, keys: Mapping[str, bytes]) -> None:
        self.counts: Counter[Ignored] = Counter()
        self._path, self._keys = path, keys
        used, fault = recalled(path, _ids, list[str]())
        self._used = deque(used, maxlen=KEPT_IDS)
        self._lately: deque[float] = deque(maxlen=MANY)
        self._renewed_s = self._accepted_s = float("-inf")
        self.nonce = secrets.token_hex(16)
        self.trouble = "" if fault is None else f"used command ids cannot be read from {path} ({fault!r})"

    def renew(self, now_s: float) -> None:
        """Change the nonce once it is old. now_s: monotonic."""
        if not now_s - self._renewed_s < NONCE_S:
            self._change_nonce(now_s)

    def judge(self, payload: bytes, now_s: float, *, retained: bool) -> Command | Ignored:
        """Whether to act on this message; counted where not. A nonce that was right serves no second time."""
        verdict = self._judged(payload, now_s, retained=retained)
        if isinstance(verdict, Ignored):
            self.ignore(verdict, now_s)
        return verdict

    def ignore(self, reason: Ignored, now_s: float) -> None:
        """Count a command that is not acted on."""
        if not self.counts[reason]:
            LOG.warning("Ignored a command over MQTT: %s; more of the kind are only counted", reason.value)
        self.counts[reason] += 1
        self._lately.append(now_s)

    def many_lately(self, now_s: float) -> bool:
        """Whether MANY were ignored within LATELY_S."""
        return len(self._lately) == MANY and now_s - self._lately[0] <= LATELY_S

    def _judged(self, payload: bytes, now_s: float, *, retained: bool) -> Command | Ignored:
        if retained:
            return Ignored.RETAINED
        if len(payload) > LARGEST:
            return Ignored.TOO_LARGE
        try:
            command = _Command.model_validate(json.loads(payload))
        except (ValidationError, ValueError, RecursionError):
            return Ignored.MALFORMED
        if (why := self._refusal(command, now_s)) is not None:
            return why
        self._use(command, now_s)
        origin = Origin.SIGNED if command.do == "release" else Origin.VOUCHED
        return Command(command.id, command.do, command.params(), origin)

    def _refusal(self, command: _Command, now_s: float) -> Ignored | None:
        """Why a well-written command is not acted on."""
        if not hmac.compare_digest(command.nonce.encode(), self.nonce.encode()):
            return Ignored.LATE
        if command.id in self._used:
            return Ignored.REPLAYED
        if now_s - self._accepted_s < BETWEEN_S:
            return Ignored.TOO_SOON
        if command.do == "release" and not self._is_signed(command):
            return Ignored.UNSIGNED
        return None

    def _is_signed(self, command: _Command) -> bool:
        key = self._keys.get(command.controller or "")
        if key is None or command.signature is None:
            return False
        right = signature(key, command.id, command.nonce, command.do, command.reservoir)
        return hmac.compare_digest(right.encode(), command.signature.encode())

    def _use(self, command: _Command, now_s: float) -> None:
        self._accepted_s = now_s
        self._used.append(command.id)
        keep_if_may_be(self._path, list(self._used))
        self._change_nonce(now_s)

    def _change_nonce(self, now_s: float) -> None:
        self.nonce, self._renewed_s = secrets.token_hex(16), now_s


def signature(key: bytes, id_: str, nonce: str, do: str, reservoir: str | None) -> str:
    """What a controller writes into `signature`, in hex."""
    return hmac.new(key, f"{id_} {nonce} {do} {reservoir or ''}".encode(), sha256).hexdigest()


def _ids(raw: Any) -> list[str]:
    """Raises TypeError where it is no list of ids."""
    if not (isinstance(raw, list) and all(isinstance(each, str) for each in raw)):
        raise TypeError("no list of ids")
    return raw
