"""What a run came to, counted from its snapshots."""

from __future__ import annotations

from dataclasses import replace

import pytest

from daemon.cli.tally import AlarmRun, BandShare, Tally, readings
from daemon.values import Cap, DoseReason, DoseRequest, Permit, Quality, Quantity, Refusal, Role, State
from tests.link.states import alarm, reservoir, state, with_ph, with_unknown_ph
from tests.strategies import verdict

ASKED = DoseRequest("bed1", Role.PH_DOWN, 2.0, DoseReason.PH_HIGH)
PERMITTED = Permit(ASKED, 2.0, 2.0)


def at(seconds: float, of: State) -> State:
    """The snapshot, taken so many seconds into the run."""
    return replace(of, at_s=seconds)


def refused(cap: Cap, name: str = "bed1") -> State:
    return state(1, reservoir(name, last_decision=Refusal(ASKED, cap)))


def test_both_ends_of_a_band_are_inside() -> None:
    """And nothing seen has no share."""
    share = BandShare()
    assert share.share is None
    for value in (5.5, 6.5, 5.499, 6.501):
        share.see(value, (5.5, 6.5))
    assert share.share == 0.5


def test_no_number_is_not_in_band() -> None:
    """NaN counts as outside."""
    share = BandShare()
    share.see(float("nan"), (5.5, 6.5))
    assert share.share == 0.0


def test_shares_are_of_what_was_seen() -> None:
    """Passes in which a quantity was not looked at say nothing of it."""
    tally = Tally()
    for value in (6.0, 7.0, None, 6.4):
        tally.see(state(), {} if value is None else {"bed1": {Quantity.PH: value}})
    assert tally.passes == 4
    assert tally.shares() == {"ph": pytest.approx(2 / 3, abs=1e-5)}


def test_the_time_to_settle_is_left_out_of_the_settled_shares() -> None:
    """From the first pass on, whatever the clock said then."""
    tally = Tally(settle_s=100.0)
    for seconds, ph in ((5000.0, 7.2), (5099.0, 7.0), (5100.0, 6.0), (5200.0, 7.0)):
        tally.see(at(seconds, state()), {"bed1": {Quantity.PH: ph}})
    assert tally.shares() == {"ph": 0.25}
    assert tally.shares(settled=True) == {"ph": 0.5}


def test_a_spell_of_one_refusal_counts_once() -> None:
    """Until another cap says no, or something is permitted in between."""
    tally = Tally()
    permitted = state(1, reservoir(last_decision=PERMITTED))
    for snapshot in (
        *[refused(Cap.GAP)] * 3,
        *[refused(Cap.PER_HOUR)] * 2,
        refused(Cap.GAP),
        permitted,
        refused(Cap.GAP),
    ):
        tally.see(snapshot, {})
    assert tally.refusals == {Cap.GAP: 3, Cap.PER_HOUR: 1}


def test_each_reservoir_has_refusals_of_its_own() -> None:
    """The same cap in two of them is two."""
    tally = Tally()
    both = {**refused(Cap.GAP, "bed1").reservoirs, **refused(Cap.GAP, "bed2").reservoirs}
    tally.see(replace(state(), reservoirs=both), {})
    assert tally.refusals == {Cap.GAP: 2}


def test_an_alarm_runs_from_raised_to_over_and_may_come_again() -> None:
    """In seconds since the run began, in the order in which they were raised."""
    tally = Tally()
    probe, level = alarm("bed1-ph-probe"), alarm("bed1-level-level-low")
    for seconds, alarms in ((0, ()), (10, (probe,)), (20, (probe, level)), (30, (level,)), (40, (probe, level))):
        tally.see(at(1000.0 + seconds, state(alarms=alarms)), {})
    text = probe.text
    assert tally.alarm_runs() == [
        AlarmRun("bed1-ph-probe", "high", text, 10.0, 30.0),
        AlarmRun("bed1-level-level-low", "high", text, 20.0, None),
        AlarmRun("bed1-ph-probe", "high", text, 40.0, None),
    ]


def test_readings_are_those_that_may_be_trusted() -> None:
    """A bad or missing one is left out."""
    assert readings(with_ph(1, 6.3))["bed1"][Quantity.PH] == 6.3
    assert Quantity.PH not in readings(with_unknown_ph(1))["bed1"]
    bed = reservoir()
    jumped = replace(bed, verdicts={Quantity.PH: verdict(6.3, quality=Quality.BAD)})
    assert readings(state(1, jumped)) == {"bed1": {}}


def test_the_last_snapshot_is_kept() -> None:
    """For the summary."""
    tally = Tally()
    first, last = with_ph(1, 6.0), with_ph(2, 6.1)
    tally.see(first, {})
    tally.see(last, {})
    assert tally.last is last
    assert tally.begun_s == first.at_s
