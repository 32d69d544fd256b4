"""Signs that stand beside words, so that no meaning hangs on a colour. Pure."""

from __future__ import annotations

from collections.abc import Mapping

from daemon.values import Condition, Priority, Quality

QUALITY: Mapping[Quality, str] = {Quality.GOOD: "●", Quality.UNCERTAIN: "◐", Quality.BAD: "✕"}
CONDITION: Mapping[Condition, str] = {
    Condition.KEEPING: "●",
    Condition.WATCHING: "◌",
    Condition.HELD: "‖",
    Condition.LOCKED: "✕",
}
GRAVITY: Mapping[Priority, str] = {Priority.HIGH: "!!!", Priority.MEDIUM: "!!", Priority.LOW: "!"}
