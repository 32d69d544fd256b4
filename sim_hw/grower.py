"""The grower at the bench: calibrates the probes as a person would, dipping them in standards.

Knows nothing of the daemon: it is handed how to ask it, how to play the bench, and how to wait.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

Ask = Callable[..., Mapping[str, Any]]
Play = Callable[..., Any]
Wait = Callable[[], None]

STANDARDS = {"ph": ("7.00", "4.01"), "ph_2": ("7.00", "4.01"), "ec": ("1.413",)}
PATIENCE_LOOKS = 120


class GrowerStoppedError(RuntimeError):
    """The bench's grower could not finish; the message says at which step."""


def calibrate(quantity: str, reservoir: str, *, ask: Ask, play: Play, wait: Wait) -> str:
    """Calibrate one probe and put it back in the water. Gives what the daemon said of the result.

    ask(method, **params): the daemon's answer; play(command, **params): the bench's; wait(): a while.
    Raises GrowerStoppedError when a reading never settles or the daemon refuses the result.
    """
    where = {"reservoir": reservoir, "quantity": quantity}
    ask("calibrate.begin", **where)
    for standard in STANDARDS[quantity]:
        play("dip", tank=reservoir, probe=quantity, standard=standard)
        ask("calibrate.look", afresh=True, **where)
        _until_settled(where, ask, wait)
        ask("calibrate.point", standard=standard, **where)
    result = ask("calibrate.finish", accept=True, **where)  # it knows that the bottles are what they say
    if not result["accepted"]:
        raise GrowerStoppedError(f"calibrating {quantity}: {result['said']}")
    play("back", tank=reservoir, probe=quantity)
    ask("calibrate.back", **where)
    return str(result["said"]).partition(". ")[0]


def _until_settled(where: Mapping[str, str], ask: Ask, wait: Wait) -> None:
    for _ in range(PATIENCE_LOOKS):
        wait()
        if ask("calibrate.look", **where)["settled"]:
            return
    raise GrowerStoppedError(f"the {where['quantity']} reading did not settle in its standard")
