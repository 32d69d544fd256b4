"""pH and EC plugs that have changed places."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.measure.plugs import APART_V, LOOKS, SAME_V, Plugs, follow_plugs
from daemon.values import Quality, Quantity, Reading, Sample, Verdict, VerdictReason

PH_V, EC_V = 1.62, 0.48
SLACK_V = 1e-6


def shows(quantity: Quantity, volts: float | None, reason: VerdictReason = VerdictReason.FINE) -> Verdict:
    """A look at one input."""
    quality = Quality.GOOD if reason is VerdictReason.FINE else Quality.BAD
    return Verdict(quantity, quality, reason, Reading(quantity, 1.0, 1.0, Sample(quantity, 1.0, 1.0, volts)))


def look(
    plugs: Plugs, ph_v: float | None, ec_v: float | None, reason: VerdictReason = VerdictReason.FINE
) -> Plugs:
    """One look at both."""
    return follow_plugs(plugs, shows(Quantity.PH, ph_v, reason), shows(Quantity.EC, ec_v, reason))


@pytest.mark.parametrize("reason", [VerdictReason.JUMPED, VerdictReason.FINE])
def test_each_shows_what_the_other_showed(reason: VerdictReason) -> None:
    """Doubted as a jump at first, believed later: it stays found until they are put right."""
    plugs = look(Plugs(), PH_V, EC_V)
    for _ in range(LOOKS):
        assert not plugs.exchanged
        plugs = look(plugs, EC_V, PH_V, reason)
    assert plugs.exchanged
    assert look(plugs, EC_V, PH_V).exchanged
    assert not look(plugs, PH_V, EC_V, VerdictReason.JUMPED).exchanged


@pytest.mark.parametrize(
    ("off_v", "found"), [(0.0, True), (SAME_V - SLACK_V, True), (SAME_V + SLACK_V, False), (float("nan"), False)]
)
@pytest.mark.parametrize("which", [0, 1])
def test_only_what_is_the_same_within_noise(off_v: float, found: bool, which: int) -> None:
    """Of both inputs."""
    plugs = look(Plugs(), PH_V, EC_V)
    ph_off_v, ec_off_v = (off_v, 0.0) if which == 0 else (0.0, off_v)
    for _ in range(LOOKS):
        plugs = look(plugs, EC_V + ph_off_v, PH_V + ec_off_v, VerdictReason.JUMPED)
    assert plugs.exchanged is found


@pytest.mark.parametrize(("apart_v", "found"), [(APART_V + SLACK_V, True), (APART_V - SLACK_V, False)])
def test_inputs_near_each_other_tell_nothing(apart_v: float, found: bool) -> None:
    """Nor does anything of them change."""
    plugs = look(Plugs(), PH_V, PH_V + apart_v)
    for _ in range(LOOKS):
        plugs = look(plugs, PH_V + apart_v, PH_V, VerdictReason.JUMPED)
    assert plugs.exchanged is found


def test_a_single_look_is_not_enough() -> None:
    """They have to be seen so in a row."""
    plugs = look(Plugs(), PH_V, EC_V)
    for _ in range(3):
        plugs = look(look(plugs, EC_V, PH_V, VerdictReason.JUMPED), PH_V, EC_V)
    assert not plugs.exchanged


def test_nothing_is_known_without_volts_or_a_look_before() -> None:
    """A silent probe leaves what was known."""
    assert look(Plugs(), EC_V, PH_V, VerdictReason.JUMPED) == Plugs()
    plugs = look(Plugs(), PH_V, EC_V)
    assert look(plugs, None, EC_V) == plugs
    ph = replace(shows(Quantity.PH, PH_V, VerdictReason.NO_ANSWER), reading=None)
    assert follow_plugs(plugs, ph, shows(Quantity.EC, EC_V)) == plugs


@given(st.lists(st.tuples(st.floats(0.3, 1.2), st.floats(1.5, 3.0)), min_size=2, max_size=20))
def test_inputs_whose_volts_never_cross_are_never_taken_for_exchanged(looks: list[tuple[float, float]]) -> None:
    """Whatever the water does."""
    plugs = Plugs()
    for ph_v, ec_v in looks:
        plugs = look(plugs, ph_v, ec_v, VerdictReason.FINE)
    assert not plugs.exchanged
