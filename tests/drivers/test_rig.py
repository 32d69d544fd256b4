"""The seam: a rig by its name, and what a clock says of itself."""

from __future__ import annotations

import pytest

from drivers.rig import RigError, boot_id_of, open_rig, utc_is_trusted
from tests.drivers.edge_rig import EdgeRig
from tests.drivers.parts import StepClock


def test_opens_any_importable_function_with_its_table() -> None:
    """`package.module:function` is imported and given the whole table."""
    assert isinstance(open_rig({"open": "tests.drivers.edge_rig:open_rig", "edges": "none"}), EdgeRig)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("", "must read"),
        ("drivers.pi", "must read"),
        (":open_rig", "must read"),
        ("drivers.nowhere:open_rig", "drivers.nowhere cannot be imported"),
        ("drivers.pi:nothing", "drivers.pi has no function nothing"),
        ("drivers.pi:ONE_WIRE_ROOT", "has no function"),
    ],
)
def test_a_name_that_leads_nowhere_is_told(name: str, says: str) -> None:
    """The message repeats the name and says which part of it is wrong."""
    with pytest.raises(RigError, match=rf'open = "{name}".*{says}'):
        open_rig({"open": name})


def test_a_clock_that_does_not_say_counts_on_the_strict_side() -> None:
    """Without a word of its own: just booted, and a wall clock that is not trusted."""
    assert boot_id_of(StepClock(), "fresh") == "fresh"
    assert not utc_is_trusted(StepClock())
