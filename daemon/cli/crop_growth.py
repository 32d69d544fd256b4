"""`evenwater crop grow`: what heads weigh, when to cut, what threatens."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from datetime import datetime, timedelta
from typing import Any

from daemon import words_of_growth as words
from daemon.cli.ask import add_command
from daemon.cli.crop_settings import add_settings_option, diary_of, or_trouble, settings_if_any
from daemon.cli.weather_options import add_weather_options, between, lamp_of, or_why
from daemon.cli.where import state_folder
from daemon.crop.diary import Batch, batches
from daemon.crop.risk import Risk
from daemon.growing import Prospect, Room, Source
from daemon.prospects import Places, prospect_in, set_out
from daemon.store.history import FILE as HISTORY_FILE
from daemon.store.trend import opened

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


def _grow(arguments: argparse.Namespace) -> int:
    known = batches(diary_of(arguments).lines)
    places = Places(
        settings_if_any(arguments),
        lamp=lamp_of(arguments),
        air_c=arguments.air,
        plants_per_m2=arguments.plants_per_m2,
        wanted_g=arguments.grams,
    )
    now = datetime.now().astimezone()
    with ExitStack() as keep:
        trends = None
        if (state_folder(arguments.state) / HISTORY_FILE).exists():
            trends = keep.enter_context(opened(state_folder(arguments.state)))
        found = [
            (places.room(batch), prospect_in(places, batch, known, trends, now))
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
    standing = set_out(known)
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


def _grown_lines(found: Sequence[tuple[Room, Prospect]]) -> Iterator[str]:
    if not found:
        yield "No head stands in a reservoir. Write down what you set out: evenwater crop did transplanted --help"
    told: dict[tuple[Risk, ...], str] = {}
    for room, one in found:
        if told:
            yield ""
        yield words.prospect(one)
        yield from (f"  {label:<16}{text}" for label, text in words.facts(room, one))
        if one.risks and (before := told.get(one.risks)) is not None:
            yield f"  risks           those of {before}"
        else:
            yield from _risk_lines(one)
        told.setdefault(one.risks, one.batch.name)


def _risk_lines(one: Prospect) -> Iterator[str]:
    for each in one.risks:
        yield f"  {words.risk(each)}"
        yield f"    {words.DO[each.threat]}"
        yield f"    {words.limits(each)}"
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
