"""Which figures tell of tip-burn, bolting and root rot."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.crop.risk import LIMITS, Height, Limit, Sign, Spread, Threat, risks, signs_of, together, unknown
from daemon.values import Quantity
from tests.reference.published import rows

MILD = {
    Sign.LIGHT: 12.0,
    Sign.AIR: 20.0,
    Sign.NIGHT_AIR: 17.0,
    Sign.EC: 1.4,
    Sign.DEFICIT: 0.8,
    Sign.HOURS_LIT: 14.0,
    Sign.WATER: 20.0,
    Sign.OXYGEN: 9.1,
    Sign.OVER_WEIGHT: 0.5,
}


def named(limit: Limit) -> str:
    """For the name of a test."""
    return f"{limit.threat}-{limit.sign}"


def test_a_mild_day_threatens_nothing() -> None:
    """Every figure known, every one as it should be."""
    assert set(MILD) == set(Sign)
    assert risks(MILD) == ()
    assert all(missing == () for missing in unknown(MILD).values())


@pytest.mark.parametrize("limit", LIMITS, ids=named)
def test_each_limit_is_passed_and_not_at_it(limit: Limit) -> None:
    """At the limit nothing; past the first raised; past the second high; by the figure and limit it names."""

    def height(value: float) -> Height | None:
        found = [one for one in risks({**MILD, limit.sign: value}) if one.threat is limit.threat]
        return found[0].height if found else None

    past = 1e-6 if limit.raised < limit.high else -1e-6
    assert height(limit.raised) is None
    assert height(limit.raised + past) is Height.RAISED
    assert height(limit.high) is Height.RAISED
    assert height(limit.high + past) is Height.HIGH
    (risk,) = [one for one in risks({limit.sign: limit.high + past}) if one.threat is limit.threat]
    assert [(one.sign, one.limit, one.source) for one in risk.reasons] == [(limit.sign, limit.high, limit.source)]


def test_a_threat_is_as_high_as_its_gravest_sign() -> None:
    """And tells all of them, that one first."""
    (risk,) = risks({Sign.LIGHT: 16.0, Sign.EC: 2.5})
    assert (risk.threat, risk.height) == (Threat.TIP_BURN, Height.HIGH)
    assert [one.sign for one in risk.reasons] == [Sign.EC, Sign.LIGHT]


@given(st.dictionaries(st.sampled_from(Sign), st.floats(allow_nan=True, allow_infinity=True)))
def test_whatever_is_measured_no_risk_is_without_a_reason(signs: dict[Sign, float]) -> None:
    """What is no number tells nothing."""
    for risk in risks(signs):
        assert risk.reasons
        assert all(signs[one.sign] == one.value for one in risk.reasons)
    assert risks(dict.fromkeys(Sign, float("nan"))) == ()


def test_the_figures_of_a_day_are_made_of_what_was_measured() -> None:
    """Light to mol/m² (200 µmol for 16 h: 11.52), the deficit of FAO-56 examples 5 and 6, oxygen at 25 °C."""
    day = {
        Quantity.LIGHT: Spread(0.0, 200.0 * 16.0 / 24.0, 200.0),
        Quantity.AIR_TEMPERATURE: Spread(18.0, 21.0, 25.0),
        Quantity.HUMIDITY: Spread(54.0, 68.0, 82.0),
        Quantity.TEMPERATURE: Spread(24.0, 25.0, 26.0),
        Quantity.EC: Spread(1.1, 1.2, 1.3),
    }
    assert signs_of(day) == pytest.approx(
        {
            Sign.LIGHT: 11.52,
            Sign.AIR: 21.0,
            Sign.NIGHT_AIR: 18.0,
            Sign.EC: 1.2,
            Sign.DEFICIT: 0.914,
            Sign.WATER: 25.0,
            Sign.OXYGEN: 8.263,
        },
        abs=1e-3,
    )
    assert signs_of({}) == {}
    assert Sign.OXYGEN not in signs_of({Quantity.TEMPERATURE: Spread(50.0, 50.0, 50.0)})


def test_days_count_alike_where_they_are_known() -> None:
    """A figure of one day only is that day's."""
    days = [{Sign.AIR: 20.0, Sign.EC: 1.0}, {Sign.AIR: 24.0}]
    assert together(days) == {Sign.AIR: 22.0, Sign.EC: 1.0}


def test_what_is_not_measured_is_said() -> None:
    """No risk seen is not no risk."""
    assert unknown({Sign.WATER: 20.0})[Threat.ROOT_ROT] == (Sign.OXYGEN,)
    assert Sign.LIGHT in unknown({})[Threat.TIP_BURN]


def test_published_limits_are_those_of_their_sources() -> None:
    """Light, strength and water: the figures that lettuce_climate.csv has from each source."""
    at = {(one.threat, one.sign): one for one in LIMITS}
    (light,) = rows("lettuce_climate.csv", quantity="daily light integral")
    assert at[Threat.TIP_BURN, Sign.LIGHT].high == float(light["value"])
    assert f"at most {at[Threat.TIP_BURN, Sign.LIGHT].raised:g}" in light["note"]
    (strong,) = rows("lettuce_climate.csv", quantity="EC production high")
    assert at[Threat.TIP_BURN, Sign.EC].raised == float(strong["value"])
    (pythium,) = rows("lettuce_climate.csv", quantity="Pythium aphanidermatum dominant above")
    assert at[Threat.ROOT_ROT, Sign.WATER].raised == float(pythium["value"])
    (roots,) = rows("lettuce_climate.csv", quantity="root-zone temperature above which growth fell")
    assert at[Threat.ROOT_ROT, Sign.WATER].high == float(roots["value"])
    (air,) = rows("lettuce_climate.csv", quantity="air temperature for best growth")
    assert air["value"].endswith(f"-{at[Threat.BOLTING, Sign.AIR].raised:g}")
    (oxygen,) = rows("lettuce_climate.csv", quantity="dissolved oxygen")
    assert at[Threat.ROOT_ROT, Sign.OXYGEN].raised == float(oxygen["value"]) + 2.5
