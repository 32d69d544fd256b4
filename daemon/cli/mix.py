"""`evenwater mix`: what to weigh for a tank or for stocks A and B, and what a tank holds after given doses."""

from __future__ import annotations

import argparse
import json
import re
import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from config.mix import MixFile, load_mix
from config.toml_file import SettingsError
from daemon.cli.ask import Commands, finite
from daemon.cli.mix_lines import contains_lines, mix_lines, product_lines
from daemon.cli.mix_plain import plain_held, plain_mix, plain_products
from daemon.crop.contents import MixError, Portion, contents
from daemon.crop.nonnegative import NoAnswerError
from daemon.crop.products import Product
from daemon.mixes import FOLD, LARGEST_L, Held, answer, changed
from daemon.shelf import shelf, shop, water_of

EPILOG = """\
examples:
  evenwater mix config/mixes/quince-lane.toml                          for the tank that the file names
  evenwater mix config/mixes/quince-lane.toml --volume-l 20 --ec 1.0   for another, weaker
  evenwater mix config/mixes/quince-lane.toml --stock-l 1 --strength 100
  evenwater mix config/mixes/quince-lane.toml --contains potassium_nitrate=20g nitric_acid_10=25ml
  evenwater mix --products                                             what ships, and what it holds

FILE tells water, recipe and shelf: copy config/mixes/quince-lane.toml, an invented one; docs/mixing.md explains
it. Acid into water, never water into acid; goggles and gloves. Never mix concentrates A and B. Labels and local
rules win over anything printed here.
"""
DOSE = re.compile(r"([a-z][a-z0-9_]*)=(\d+(?:\.\d+)?)\s*(kg|g|ml|mL|l|L)")
_IN_BASE = {"kg": 1000.0, "g": 1.0, "ml": 1.0, "mL": 1.0, "l": 1000.0, "L": 1000.0}


@dataclass(frozen=True, slots=True)
class Dose:
    """What a person says that went in: so much of a product, in g or mL."""

    name: str
    amount: float
    unit: str


def add_commands(commands: Commands) -> None:
    """`evenwater mix`."""
    parser = commands.add_parser(
        "mix",
        help="what to weigh for a tank, or what it holds after doses",
        description="From water, recipe and shelf to grams and mL; or back, with --contains. Needs no daemon.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("file", type=Path, nargs="?", metavar="FILE", help="water, recipe and shelf, in TOML")
    parser.add_argument("--volume-l", type=_litres, metavar="N", help="of the tank, instead of the file's")
    parser.add_argument(
        "--ec", type=_positive, metavar="N", help="in mS/cm at 25 °C, instead of the file's strength"
    )
    parser.add_argument(
        "--stock-l", type=_litres, metavar="N", help="make concentrates A and B, so many litres of each"
    )
    parser.add_argument("--strength", type=_fold, metavar="N", help="of them: 1 mL of each makes N mL (100)")
    parser.add_argument(
        "--contains", type=_dose, nargs="+", metavar="NAME=AMOUNT", help="what is in the tank after these doses"
    )
    parser.add_argument("--products", action="store_true", help="list what ships, with what it holds")
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
    parser.set_defaults(act=lambda arguments: _act(parser, arguments))


def _positive(text: str) -> float:
    number = finite(text)
    if not number > 0.0:
        raise argparse.ArgumentTypeError(f"{text!r}: must be above 0")
    return number


def _litres(text: str) -> float:
    number = _positive(text)
    if not number <= LARGEST_L:
        raise argparse.ArgumentTypeError(f"{text!r}: must be at most {LARGEST_L:g} L")
    return number


def _fold(text: str) -> float:
    number = finite(text)
    if not FOLD[0] <= number <= FOLD[1]:
        raise argparse.ArgumentTypeError(f"{text!r}: must be 2 to 400, as 100: 1 mL of each stock makes 100 mL")
    return number


def _dose(text: str) -> Dose:
    found = DOSE.fullmatch(text)
    if found is None:
        raise argparse.ArgumentTypeError(
            f"{text!r}: must be a name and an amount, as potassium_nitrate=20g or acid=3.5ml"
        )
    return Dose(found[1], float(found[2]) * _IN_BASE[found[3]], "g" if found[3] in ("kg", "g") else "mL")


def _act(parser: argparse.ArgumentParser, arguments: argparse.Namespace) -> int:
    if arguments.products:
        products = shop().values()
        return _printed(product_lines(products), plain_products(products) if arguments.json else None)
    if arguments.file is None:
        parser.error("FILE is missing; start from: cp config/mixes/quince-lane.toml my-mix.toml")
    if arguments.strength is not None and arguments.stock_l is None:
        parser.error("--strength goes with --stock-l")
    try:
        mix = changed(
            load_mix(arguments.file),
            volume_l=arguments.volume_l,
            ec_ms_per_cm=arguments.ec,
            stock_l=arguments.stock_l,
            strength=arguments.strength,
        )
        if arguments.contains is not None:
            held = _held(mix, arguments.contains)
            return _printed(contains_lines(held), plain_held(held) if arguments.json else None)
        made = answer(mix)
        return _printed(mix_lines(made), plain_mix(made) if arguments.json else None)
    except SettingsError as trouble:
        print(trouble, file=sys.stderr)
    except (MixError, NoAnswerError, ValueError) as trouble:
        print(f"evenwater mix: {trouble}", file=sys.stderr)
    return 1


def _printed(lines: Iterable[str], plain: Mapping[str, Any] | None = None) -> int:
    for line in lines if plain is None else [json.dumps(plain, ensure_ascii=False)]:
        print(line)
    return 0


def _held(mix: MixFile, doses: Iterable[Dose]) -> Held:
    """What the tank holds after doses. Raises ValueError for a name that is unknown, or weighed told in mL."""
    known = {**shop(), **shelf(mix)}
    portions = tuple(_poured(dose, known) for dose in doses)
    return Held(mix, portions, contents(water_of(mix), mix.volume_l, portions))


def _poured(dose: Dose, known: Mapping[str, Product]) -> Portion:
    product = known.get(dose.name)
    if product is None:
        raise ValueError(
            f"{dose.name}: is neither on this file's shelf nor ships; `evenwater mix --products` lists what does"
        )
    if dose.unit == "mL" and not product.liquid:
        raise ValueError(f"{dose.name} = {dose.amount:g} mL: is weighed; tell its grams, as {dose.name}=20g")
    return Portion(product, product.grams(dose.amount) if dose.unit == "mL" else dose.amount)
