"""One line per change of state, for logs and for a demo without a terminal."""

from __future__ import annotations

from dataclasses import replace

from daemon.cli.lines import between, values
from daemon.values import Condition, Quantity, State
from tests.link.states import alarm, entry, good, reservoir, state, unknown, with_ph, with_unknown_ph


def changed(before: State, after: State) -> list[str]:
    return list(between(before, after))


def test_the_first_snapshot_says_the_condition_but_not_the_doses_of_an_earlier_run() -> None:
    """What the ledger remembers from before the start did not just happen."""
    assert list(between(None, state())) == ["Bed1: keeping (corrects by itself)"]


def test_nothing_changed_is_no_line() -> None:
    """Also when a value moves within what is trusted."""
    assert changed(with_ph(1, 6.0), with_ph(2, 6.1)) == []


def test_a_probe_that_goes_and_comes_back_is_told_each_time() -> None:
    """With its reason when it goes, with its value when it is back."""
    (gone,) = changed(with_ph(1, 6.0), with_unknown_ph(2))
    assert gone == "Bed1: pH –, bad: the probe's converter does not answer (no chip at 0x48)"
    (back,) = changed(with_unknown_ph(2), with_ph(3, 6.0))
    assert back == "Bed1: pH 6.00, good"


def test_a_probe_known_to_be_gone_is_not_told_again() -> None:
    """Once per change of state."""
    assert changed(with_unknown_ph(1), with_unknown_ph(2)) == []


def test_a_changed_condition_or_reason_is_told() -> None:
    """Also when only the reason is another."""
    held = state(2, reservoir(condition=Condition.HELD, condition_reason="cleaning"))
    assert changed(state(), held) == ["Bed1: held (dosing paused by a person): cleaning"]
    again = state(3, reservoir(condition=Condition.HELD, condition_reason="planting"))
    assert changed(held, again) == ["Bed1: held (dosing paused by a person): planting"]


def test_each_new_dose_is_told_once() -> None:
    """Those already seen are not."""
    more = state(2, reservoir(last_doses=(entry(8, 3.0), entry(7, 2.5))))
    assert changed(state(), more) == ["Bed1: dosed 3.0 mL pH down, pH 6.80, aim ?"]


def test_an_alarm_is_told_when_raised_and_when_over() -> None:
    """With its text the first time."""
    raised = state(2, alarms=(alarm(),))
    assert changed(state(), raised) == ["alarm bed1-ph-probe (high): pH probe gone"]
    assert changed(raised, raised) == []
    assert changed(raised, state()) == ["alarm bed1-ph-probe is over"]


def test_values_are_one_line_for_each_reservoir() -> None:
    """What is measured now and its condition; a quantity without a probe is left out."""
    bare = replace(reservoir("bed2"), verdicts={Quantity.EC: unknown(Quantity.EC)})
    lines = list(values(state(1, reservoir(), bare)))
    assert lines == [
        "Bed1: pH 6.02, good, EC 1.20 mS/cm, good, temperature 20.0 °C, good · keeping",
        "Bed2: EC –, bad: the probe's converter does not answer (no chip at 0x48) · keeping",
    ]


def test_a_quantity_that_appears_is_no_change() -> None:
    """A first look has nothing to differ from."""
    bare = state(1, replace(reservoir(), verdicts={}))
    after = state(2, replace(reservoir(), verdicts={Quantity.PH: good(Quantity.PH, 6.0)}))
    assert changed(bare, after) == []
