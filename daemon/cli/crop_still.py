"""`evenwater crop still`: how large a still reservoir must be, and how its level should fall."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from daemon import words_of_growth as words
from daemon.cli.ask import add_command
from daemon.cli.weather_options import USUAL_LAMP, add_weather_options, between, lamp_of, or_why
from daemon.crop.growth import HOURS_OF_DAY, Hour, Lamp, g_per_head, over_and_over
from daemon.crop.still import LEFT_SHARE, WATER_L_PER_KG, Day, Litres, draw_down, drunk, empty_on, volume_l
from daemon.dose.level import BARE_SHARE, COVERED_SHARE

USUAL_HEAD_G = 150.0
USUAL_PLANTS_PER_M2 = 25.0
LONGEST_CROP_DAYS = 120
WEEK_DAYS = 7
STILL = """\
examples:
  evenwater crop still --heads 6
  evenwater crop still --heads 6 --litres 30 --surface 900      the box you have: is it enough, how will it fall?
  evenwater crop still --heads 6 --json | jq .volume_l

A still (non-circulating) reservoir is filled once and falls on purpose: roots that grow in the air above the
water keep the plant breathing. Water for a kilogram is known to a factor of two only (Barbosa et al. 2015, IJERPH
12:6879: 20 L/kg, evaporation of a greenhouse included), so watch the level against the table.
"""


def add_crop_commands(commands: Any) -> None:
    """still."""
    about = "How large a still reservoir must be to be filled once for the whole crop, and how its level falls."
    still = add_command(commands, "still", "size a still reservoir, and see how it falls", STILL, about)
    still.add_argument("--heads", type=_heads, required=True, metavar="N", help="that drink from it")
    still.add_argument(
        "--grams",
        type=between(5.0, 5000.0),
        default=USUAL_HEAD_G,
        metavar="G",
        help=f"of a head at harvest (default {USUAL_HEAD_G:g})",
    )
    still.add_argument(
        "--litres-per-kg",
        type=between(5.0, 200.0),
        default=WATER_L_PER_KG,
        metavar="L",
        help=f"water for each kg of fresh lettuce (default {WATER_L_PER_KG:g}); your own, once you measured it",
    )
    still.add_argument("--litres", type=between(0.5, 2000.0), metavar="L", help="a full reservoir holds")
    still.add_argument(
        "--surface", type=between(10.0, 1e6), metavar="CM2", help="of its water, in cm²: for the air gap in cm"
    )
    still.add_argument("--json", action="store_true", help="print one JSON value for programs")
    add_weather_options(still)
    still.set_defaults(act=lambda arguments: or_why("still", lambda: _still(arguments)))


def _heads(text: str) -> int:
    if not (text.isdecimal() and 1 <= int(text) <= 5000):
        raise argparse.ArgumentTypeError(f"{text!r}: must be a whole number, 1 to 5000")
    return int(text)


@dataclass(frozen=True, slots=True)
class _Sized:
    """A reservoir for so many heads. thirst: of all of them. needed, full_l: of a full reservoir, in L."""

    heads: int
    grams: float
    l_per_kg: float
    air_c: float
    lamp: Lamp
    thirst: Litres
    needed: Litres
    full_l: float
    days: tuple[Day, ...]


def _still(arguments: argparse.Namespace) -> int:
    sized = _sized(arguments)
    if arguments.json:
        print(json.dumps(_as_json(sized)))
        return 0
    for line in _lines(sized):
        print(line)
    return 0


def _sized(asked: argparse.Namespace) -> _Sized:
    """Raises LookupError where the heads never weigh so much."""
    lamp = lamp_of(asked) or USUAL_LAMP
    thirst = drunk(asked.heads, asked.grams, asked.litres_per_kg)
    needed = volume_l(thirst)
    full_l = asked.litres or needed.high
    days = draw_down(_until(asked.grams, lamp, asked.air), thirst, full_l, asked.surface)
    return _Sized(
        heads=asked.heads,
        grams=asked.grams,
        l_per_kg=asked.litres_per_kg,
        air_c=asked.air,
        lamp=lamp,
        thirst=thirst,
        needed=needed,
        full_l=full_l,
        days=days,
    )


def _until(grams: float, lamp: Lamp, air_c: float) -> tuple[float, ...]:
    """g per head by day until it weighs so much. Raises LookupError where it never does."""
    day = [Hour(air_c, lamp.light_umol(hour)) for hour in range(HOURS_OF_DAY)]
    curve = g_per_head(over_and_over(day, LONGEST_CROP_DAYS * HOURS_OF_DAY), USUAL_PLANTS_PER_M2)
    ready = next((number for number, each in enumerate(curve) if each >= grams), None)
    if ready is None:
        raise LookupError(
            f"{grams:g} g a head is not reached within {LONGEST_CROP_DAYS} days at {air_c:g} °C under this lamp: "
            "name more light (--lamp, --lamp-hours), warmer air (--air), or fewer --grams"
        )
    return curve[: ready + 1]


def _lines(sized: _Sized) -> Iterator[str]:
    yield (
        f"{sized.heads} heads of {sized.grams:g} g drink {words.litres(sized.thirst)} in about "
        f"{sized.days[-1].day} days, by {sized.l_per_kg:g} L/kg to a factor of two."
    )
    yield (
        f"Filled once for the whole crop, {sized.needed.high:.3g} L are enough for the thirstiest, "
        f"{sized.needed.likely:.3g} L for likely ones; {LEFT_SHARE:.0%} stays at the end, with the salts."
    )
    yield f"So a full reservoir of {sized.full_l:.3g} L should fall, counted in days from setting out:"
    yield from _table(sized.days)
    yield from _rules(sized.days)
    lamp = sized.lamp
    yield (
        f"Reckoned with {sized.air_c:g} °C and {lamp.umol:g} µmol/(m² s) for {lamp.hours:g} h a day; other "
        "weather shifts the days, hardly the litres."
    )


def _table(days: Sequence[Day]) -> Iterator[str]:
    gap = days[0].gap_cm is not None
    yield f"  {'day':>3}  {'level':>6}  {'between':>13}  {'drunk':>7}" + (f"  {'gap':>8}" if gap else "")
    for day in [*days[:-1:WEEK_DAYS], days[-1]]:
        between = f"{day.level_low:.0%} and {day.level_high:.0%}"
        more = "" if day.gap_cm is None else f"  {day.gap_cm:>5.1f} cm"
        yield f"  {day.day:>3}  {day.level:>6.0%}  {between:>13}  {day.drunk.likely:>5.1f} L{more}"


def _rules(days: Sequence[Day]) -> Iterator[str]:
    if (day := empty_on(days)) is not None:
        yield (
            f"It may be too small: the thirstiest plants leave less than {LEFT_SHARE:.0%} from day {day} on. "
            "Take a larger one or fewer heads, or be there to refill in part."
        )
    yield (
        "Begin with the water at the bottom of the net cups. Never fill it to the top again: once it has fallen "
        f"by {BARE_SHARE:.0%}, roots hang in the air and would drown. If you must, cover at most "
        f"{COVERED_SHARE:.0%} of what is bare. Lid it against light and dust; keep leads and plugs above it."
    )
    yield (
        'With a level sender and system = "still" the daemon calls when it falls too fast (a leak), not at all '
        "(a stuck sender, plants that do not drink), or was filled over the roots."
    )


def _as_json(sized: _Sized) -> dict[str, Any]:
    return {
        "drunk_l": sized.thirst._asdict(),
        "volume_l": sized.needed._asdict(),
        "full_l": sized.full_l,
        "too_small_from_day": empty_on(sized.days),
        "days": [
            {
                "day": day.day,
                "drunk_l": day.drunk._asdict(),
                **{name: getattr(day, name) for name in ("level", "level_low", "level_high", "gap_cm")},
            }
            for day in sized.days
        ],
    }
