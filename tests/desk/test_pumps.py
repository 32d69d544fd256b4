"""What comes of requests about a pump: the whole program. What a measured rate does is in test_rates."""

from __future__ import annotations

from typing import Any

import pytest

from daemon.desk.requests import Origin, Request, RequestRefused, WrongParams
from daemon.dose.reversals import reversals
from daemon.values import Condition, Role
from tests.at_the_tank import TO_A_DOSE, AtTheTank

HOUR_S, MIXED_S = 3600.0, 360.0


def test_a_refilled_bottle_counts_from_full(tank: AtTheTank) -> None:
    """What was drawn before is forgotten for the bottle, not for the caps."""
    tank.passes(TO_A_DOSE)
    assert tank.bed().caps[Role.PH_DOWN].bottle_left_ml == pytest.approx(992.0)
    assert tank.ask("bottle", pump="ph_down")["said"] == "pH down bottle counted as full: 1000 mL"
    use = tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN]
    assert (use.bottle_left_ml, use.last_hour_ml) == (1000.0, 8.0)
    with pytest.raises(RequestRefused, match="Bed 1 has no stock A pump"):
        tank.ask("bottle", pump="stock_a")


def test_a_priming_counts_as_a_dose(tank: AtTheTank) -> None:
    """It turns the pump once, for its mL, and is charged in full."""
    tank.ask("hold", reason="priming")
    answer = tank.ask("prime", pump="ph_down", ml=2.0)
    assert (answer["ml"], len(tank.runs())) == (2.0, 1)
    assert "evenwater release" in answer["said"]
    use = tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN]
    assert (use.last_hour_ml, use.last_day_ml, use.bottle_left_ml) == (2.0, 2.0, 998.0)
    assert tank.ask("ledger", last=1)[0]["reason"] == "prime"


def test_priming_needs_a_pause(tank: AtTheTank) -> None:
    """While it keeps itself, or is locked, the pump stands, and the next step is said."""
    with pytest.raises(RequestRefused, match="evenwater hold"):
        tank.ask("prime", pump="ph_down", ml=2.0)
    tank.loop.reservoirs["bed1"].lock("split tube", tank.loop.stamp())
    with pytest.raises(RequestRefused, match=r"locked.*evenwater clear"):
        tank.ask("prime", pump="ph_down", ml=2.0)
    assert tank.runs() == []


def test_priming_waits_for_the_last_dose_to_mix(tank: AtTheTank) -> None:
    """A second one at once is refused, as any dose would be."""
    tank.ask("hold", reason="priming")
    tank.ask("prime", pump="ph_down", ml=2.0)
    with pytest.raises(RequestRefused, match="no pH down"):
        tank.ask("prime", pump="ph_down", ml=2.0)
    assert len(tank.runs()) == 1


def test_priming_is_short(tank: AtTheTank) -> None:
    """So that the answer comes while the cup is still there."""
    tank.ask("hold", reason="priming")
    with pytest.raises(RequestRefused, match="longer than 20 s: ask for at most"):
        tank.ask("prime", pump="ph_down", ml=99.0)
    assert tank.runs() == []


def test_a_priming_that_nobody_waits_for_is_not_begun(tank: AtTheTank) -> None:
    """Who gave up may have taken the cup away."""
    tank.ask("hold", reason="priming")
    answers: list[Any] = []
    late = Request("prime", {"pump": "ph_down", "ml": 2.0}, Origin.LOCAL, answers.append)
    late.given_up.set()
    tank.service.submit(late)
    tank.loop.answer_requests()
    assert isinstance(answers[0], RequestRefused)
    assert tank.runs() == []


def test_priming_is_for_people_at_the_tank(tank: AtTheTank) -> None:
    """Never over MQTT, held or not; and only a pump that is there."""
    tank.ask("hold", reason="priming")
    with pytest.raises(RequestRefused, match="only for a person at the tank"):
        tank.ask("prime", Origin.REMOTE, pump="ph_down", ml=2.0)
    with pytest.raises(RequestRefused, match="Bed 1 has no stock A pump"):
        tank.ask("prime", pump="stock_a", ml=2.0)
    assert tank.runs() == []


# poured by hand


def test_what_was_poured_counts_as_a_dose(tank: AtTheTank) -> None:
    """Against the hour, the day and the bottle, though no pump turned; also more than a cap allows."""
    said = tank.ask("poured", pump="ph_down", ml=15.0, note="by eye", sure=True)["said"]
    assert "it counts as a dose" in said
    use = tank.passes(1).reservoirs["bed1"].caps[Role.PH_DOWN]
    assert (use.last_hour_ml, use.last_day_ml, use.bottle_left_ml) == (15.0, 15.0, 985.0)
    (entry,) = tank.ask("ledger", last=1)
    assert (entry["reason"], entry["outcome"], entry["note"]) == ("by_hand", "done", "local: by eye")
    assert tank.runs() == []


@pytest.mark.parametrize("pump", ["ph_down", "ph_up", "stock_a", "stock_b"])
def test_whatever_was_poured_is_waited_for(tank: AtTheTank, pump: str) -> None:
    """The dose that was due does not come before it has mixed; of base, not before the hours between them."""
    tank.ask("poured", pump=pump, ml=2.0, sure=True)
    poured_s = tank.clock.monotonic_s()
    tank.until(lambda _: bool(tank.runs()) or tank.clock.monotonic_s() - poured_s > 7 * HOUR_S, within=3000)
    waited_s = tank.runs()[0].at_s - poured_s
    assert waited_s >= (6 * HOUR_S if pump == "ph_up" else MIXED_S)


def test_what_was_poured_is_durable(tank: AtTheTank) -> None:
    """The ledger has it at the next start, too."""
    tank.ask("poured", pump="ph_down", ml=4.0)
    tank.service.ledger.reopen(tank.loop.stamp())
    assert tank.service.ledger.totals("bed1", Role.PH_DOWN, tank.loop.stamp()).day_ml == 4.0


def test_what_was_poured_is_no_dose_of_its_own(tank: AtTheTank) -> None:
    """It says nothing of what this tank usually takes, and is no turn from acid to base."""
    for pump in ("ph_down", "ph_up") * 3:
        tank.ask("poured", pump=pump, ml=1.0)
    given = tank.service.ledger.given("bed1")
    assert [(dose.by_hand, dose.ph) for dose in given] == [(True, None)] * 6
    assert reversals(given, given[-1].end_s) is None


@pytest.mark.parametrize("ml", [0.0, -1.0, 3000.1, 1e9])
def test_an_amount_that_cannot_be_is_refused(tank: AtTheTank, ml: float) -> None:
    """A twentieth of the water is the most, however sure one is; nothing is written."""
    with pytest.raises(RequestRefused, match="must be above 0 mL and at most 3000 mL"):
        tank.ask("poured", pump="ph_down", ml=ml, sure=True)
    with pytest.raises(WrongParams):
        tank.ask("poured", pump="ph_down", ml=float("nan"), sure=True)
    with pytest.raises(RequestRefused, match="evenwater change-out"):
        tank.ask("poured", pump="top_up", ml=1.0)
    assert tank.ask("ledger") == []


@pytest.mark.parametrize(("pump", "most_ml"), [("ph_down", 8.0), ("ph_up", 5.0), ("stock_a", 60.0)])
def test_more_than_a_dose_is_asked_about(tank: AtTheTank, pump: str, most_ml: float) -> None:
    """The cap of the pump, else of the code: at it noted, above it only when sure."""
    assert tank.ask("poured", pump=pump, ml=most_ml)["accepted"]
    asked = tank.ask("poured", pump=pump, ml=most_ml + 0.1)
    assert not asked["accepted"]
    assert f"more than the {most_ml:g} mL of one dose" in asked["said"]
    assert len(tank.ask("ledger")) == 1


def test_what_nobody_waits_for_is_not_noted(tank: AtTheTank) -> None:
    """Who was told that nobody answers will tell it again."""
    answers: list[Any] = []
    late = Request("poured", {"pump": "ph_down", "ml": 2.0}, Origin.LOCAL, answers.append)
    late.given_up.set()
    tank.service.submit(late)
    tank.loop.answer_requests()
    assert isinstance(answers[0], RequestRefused)
    assert tank.ask("ledger") == []


def test_told_too_late_the_lock_stays(tank: AtTheTank) -> None:
    """What it locked by is for a person to look at; the answer says the next step."""
    tank.loop.reservoirs["bed1"].lock("pH moved by itself", tank.loop.stamp())
    said = tank.ask("poured", pump="ph_up", ml=2.0)["said"]
    assert said.endswith(": if that was this hand, `evenwater clear`")
    assert tank.passes(1).reservoirs["bed1"].condition is Condition.LOCKED
