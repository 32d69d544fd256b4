"""`evenwater crop grow`: what heads weigh, when to cut, what threatens."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import floor
from typing import Any

from config.crop import Crop, load_crop
from config.gardening import own_crops
from config.settings import Settings
from daemon import words_of_growth as words
from daemon.cli.ask import add_command
from daemon.cli.crop_settings import add_settings_option, diary_of, or_trouble, settings_if_any
from daemon.cli.weather_options import add_weather_options, between, lamp_of, or_why
from daemon.cli.where import state_folder
from daemon.crop.diary import Batch, batches
from daemon.crop.growth import Lamp
from daemon.crop.harvest import Window
from daemon.crop.risk import Risk
from daemon.growing import AHEAD_DAYS, Prospect, Room, Source, lamps_of, prospect
from daemon.store.history import FILE as HISTORY_FILE
from daemon.store.trend import Trends, opened

USUAL_HEAD_G = 150.0
USUAL_SPACING_CM = 20.0
CM2_PER_M2 = 1e4
GROW = """\
examples:
  evenwater crop grow                               every batch that is set out
  evenwater crop grow spring-1 --grams 180
  evenwater crop grow --lamp 200 --lamp-hours 16    no light sensor: the light at the leaves, µmol/(m² s)
  evenwater crop grow --json | jq '.[].harvest'

Air, water and light are read from the daemon's history, the rest from the diary (evenwater crop did) and the
settings: a lamp is an [appliance.NAME] with light_umol_per_m2_s. Weigh a head now and then, roots and net cup off
(evenwater crop did weighed): the model alone may be off by half, and learns from batch to batch.
What it can know and what not: docs/growth.md
"""


def add_crop_commands(commands: Any) -> None:
    """grow."""
    about = "What a head weighs now, between which days it will weigh what you want, and what threatens it."
    grow = add_command(commands, "grow", "what heads weigh, when to cut, what threatens", GROW, about)
    grow.add_argument("batch", nargs="?", metavar="BATCH", help="this one only (default: all that are set out)")
    add_settings_option(grow)
    grow.add_argument(
        "--grams", type=between(5.0, 5000.0), metavar="G", help="wanted of a head (default: the variety's)"
    )
    grow.add_argument(
        "--plants-per-m2", type=between(1.0, 2000.0), metavar="N", help="of the bed (default: the variety's)"
    )
    add_weather_options(grow)
    grow.add_argument("--json", action="store_true", help="print one JSON value for programs")
    grow.set_defaults(act=lambda arguments: or_trouble("grow", lambda: or_why("grow", lambda: _grow(arguments))))


@dataclass(frozen=True, slots=True)
class _Asked:
    """The command line and the settings, as far as a batch's place is concerned."""

    arguments: argparse.Namespace
    settings: Settings | None

    def room(self, batch: Batch) -> Room:
        """The place of a batch. Raises SettingsError where its crop's file cannot be read."""
        given = self.arguments
        crop = load_crop(batch.crop, None if self.settings is None else own_crops(self.settings))
        spacing_cm, head_g = _variety(crop, batch.variety)
        return Room(
            plants_per_m2=given.plants_per_m2 or CM2_PER_M2 / spacing_cm**2,
            wanted_g=given.grams or head_g,
            lamps=self._lamps(batch),
            air_c=given.air,
        )

    def _lamps(self, batch: Batch) -> tuple[Lamp, ...]:
        if (lamp := lamp_of(self.arguments)) is not None:
            return (lamp,)
        if self.settings is None or not batch.reservoirs:
            return ()
        return lamps_of(self.settings.appliance.values(), batch.reservoirs[0][0])


def _variety(crop: Crop, name: str) -> tuple[float, float]:
    """Spacing in cm and usual g of a head; usual ones for a variety the crop's file does not know."""
    known = crop.variety.get(name)
    return (USUAL_SPACING_CM, USUAL_HEAD_G) if known is None else (known.spacing_cm, known.head_g)


def _grow(arguments: argparse.Namespace) -> int:
    known = batches(diary_of(arguments).lines)
    asked = _Asked(arguments, settings_if_any(arguments))
    now = datetime.now().astimezone()
    with ExitStack() as keep:
        trends = None
        if (state_folder(arguments.state) / HISTORY_FILE).exists():
            trends = keep.enter_context(opened(state_folder(arguments.state)))
        found = [
            (asked.room(batch), _prospect(trends, batch, known, asked, now))
            for batch in _chosen(known, arguments.batch)
        ]
    if arguments.json:
        print(json.dumps([_as_json(room, one) for room, one in found], ensure_ascii=False))
        return 0
    for line in _grown_lines(found):
        print(line)
    return 0


def _chosen(known: Mapping[str, Batch], name: str | None) -> list[Batch]:
    """Raises LookupError where nothing can be said of the batch that was named."""
    standing = [batch for batch in known.values() if batch.transplanted_on is not None and batch.heads > 0]
    if name is None:
        return standing
    if name not in known:
        raise LookupError(f"{name}: was never sown; there are: {', '.join(known) or 'none'}")
    if known[name] not in standing:
        raise LookupError(
            f"{name}: no head of it stands in a reservoir; when it was set out, write it down: "
            f"evenwater crop did transplanted {name} --heads N --reservoir NAME"
        )
    return [known[name]]


def _prospect(
    trends: Trends | None, batch: Batch, known: Mapping[str, Batch], asked: _Asked, now: datetime
) -> Prospect:
    earlier = [
        (one, asked.room(one))
        for one in known.values()
        if (one.crop, one.variety) == (batch.crop, batch.variety) and one.sown_on < batch.sown_on
    ]
    return prospect(trends, batch, earlier, asked.room(batch), now)


def _grown_lines(found: Sequence[tuple[Room, Prospect]]) -> Iterator[str]:
    if not found:
        yield "No head stands in a reservoir. Write down what you set out: evenwater crop did transplanted --help"
    told: dict[tuple[Risk, ...], str] = {}
    for room, one in found:
        if told:
            yield ""
        yield from _of(room, one)
        if one.risks and (before := told.get(one.risks)) is not None:
            yield f"  risks           those of {before}"
        else:
            yield from _risk_lines(one)
        told.setdefault(one.risks, one.batch.name)


def _of(room: Room, one: Prospect) -> Iterator[str]:
    batch, now = one.batch, one.now
    where = ", ".join(name for name, _ in batch.reservoirs)
    yield f"{batch.name}: {batch.heads} {batch.variety} heads in {where}, set out {one.begun}, day {one.day:.0f}"
    yield f"  a head weighs   {now.likely:.0f} g, eight times in ten {now.low:.0f} to {now.high:.0f} g"
    yield f"  {f'{room.wanted_g:.0f} g':<16}{_ready(one.ready, one.begun, one.day)}"
    yield f"  your scale      {_scale(one)}"
    yield f"  reckoned with   {words.lived(one.lived, room.air_c)}"
    yield (
        f"                  {room.plants_per_m2:.0f} plants on a m², CO2 of outside air ({room.co2_ppm:g} ppm), "
        "days to come as the last seven"
    )
    if any(picked.way == "leaves" for _, picked in batch.pickings):
        yield "  leaves picked   are not taken off: the grams are of a head that kept them"


def _ready(ready: Window, begun: date, day: float) -> str:
    if ready.likely is not None and ready.likely <= day:
        return f"likely since {begun + timedelta(days=ready.likely)}: weigh one, and cut"
    days = [
        f"not within {AHEAD_DAYS} days" if each is None else f"{begun + timedelta(days=max(each, floor(day)))}"
        for each in ready
    ]
    if ready.earliest is None:
        return f"{days[0]}: more light, more warmth, or fewer grams"
    return f"likely {days[1]}; at best {days[0]}, at worst {days[2]}"


def _scale(one: Prospect) -> str:
    if not (one.weighings or one.earlier):
        return "nothing was weighed yet: the model alone may be off by half; evenwater crop did weighed --help"
    told = f"{one.weighings} of this batch, {one.earlier} earlier batches"
    return f"{one.scale.factor:.2f} of the model, by weighings: {told}"


def _risk_lines(one: Prospect) -> Iterator[str]:
    for each in one.risks:
        yield f"  {words.risk(each)}"
        yield f"    {words.DO[each.threat]}"
        sources = [source for reason in each.reasons for source in reason.source.split("; ")]
        yield f"    limits: {'; '.join(dict.fromkeys(sources))}"
    if not one.risks:
        yield "  risks           none seen in what was measured"
    if missing := words.not_known(sign for signs in one.unknown.values() for sign in signs):
        yield f"  not measured    {missing}"


def _as_json(room: Room, one: Prospect) -> dict[str, Any]:
    days = {
        name: None if day is None else f"{one.begun + timedelta(days=day)}"
        for name, day in one.ready._asdict().items()
    }
    return {
        "batch": one.batch.name,
        "set_out_on": f"{one.begun}",
        "day": round(one.day, 2),
        "heads": one.batch.heads,
        "head_g": _rounded(one.now._asdict()),
        "wanted_g": room.wanted_g,
        "harvest": days,
        "factor": round(one.scale.factor, 4),
        "factor_log_sd": round(one.scale.log_sd, 4),
        "weighings": one.weighings,
        "earlier_batches": one.earlier,
        "plants_per_m2": round(room.plants_per_m2, 2),
        "co2_ppm": room.co2_ppm,
        "air": {"from": one.lived.air, "measured_share": round(one.lived.air_share, 4)}
        | ({"assumed_c": room.air_c} if one.lived.air is Source.ASSUMED else {}),
        "light": {"from": one.lived.light, "measured_share": round(one.lived.light_share, 4)},
        "signs": _rounded({sign.value: value for sign, value in one.signs.items()}),
        "risks": [_risk_as_json(each) for each in one.risks],
        "unknown": {threat.value: list(signs) for threat, signs in one.unknown.items()},
    }


def _risk_as_json(of: Risk) -> dict[str, Any]:
    reasons = [
        {
            "sign": one.sign,
            "height": one.height,
            "value": round(one.value, 4),
            "limit": one.limit,
            "source": one.source,
        }
        for one in of.reasons
    ]
    return {"threat": of.threat, "height": of.height, "reasons": reasons}


def _rounded(values: Mapping[str, float]) -> dict[str, float]:
    return {name: round(value, 4) for name, value in values.items()}
