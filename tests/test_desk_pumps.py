"""What comes of requests about a pump: the whole program. What a measured rate does is in test_rates."""

from __future__ import annotations

from typing import Any

import pytest

from daemon.requests import Origin, Request, RequestRefused
from daemon.values import Role
from tests.at_the_tank import TO_A_DOSE, AtTheTank


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
