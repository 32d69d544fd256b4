"""What `evenwater mix --json` prints."""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite
from typing import Any

from daemon.crop.contents import Contents
from daemon.crop.elements import MG_CACO3_PER_MEQ
from daemon.crop.products import Product
from daemon.crop.weighing import Weighed, Weighing
from daemon.mixes import Answer, Held
from daemon.words_of_mixing import bottle_name, in_order


def plain_mix(answer: Answer) -> dict[str, Any]:
    """The answer as one JSON value."""
    stocks = answer.stocks
    return {
        "title": answer.file.title,
        "volume_l": answer.file.volume_l,
        "recipe": answer.file.recipe,
        "strength": answer.mix.strength,
        "tank": _plain_weighing(answer.tank),
        "stocks": None if stocks is None else [
            {
                "name": stock.name,
                "volume_l": stock.volume_l,
                "strength": stock.strength,
                "ml_per_tank": 1000.0 * answer.file.volume_l / stock.strength,
                "fullest": {"salt": stock.fullest.of, "share": stock.fullest.share},
                "clear_with_this_water": stock.clear,
                **_plain_weighing(weighing),
            }
            for stock, weighing in zip((stocks.a, stocks.b), answer.stock_weighings or (), strict=True)
        ],
        "elements": [
            {
                "name": met.goal.name,
                "wanted_mg_per_l": met.wanted_mg_per_l,
                "water_mg_per_l": met.water_mg_per_l,
                "mixed_mg_per_l": met.given_mg_per_l,
                "weighed_mg_per_l": met.goal.of(answer.weighed.mg_per_l),
                "missed": None if met.why is None else met.why.name.lower(),
                "would_do": list(answer.helped.get(met.goal.name, ())),
            }
            for met in answer.mix.met
        ],
        "contents": _plain_contents(answer.weighed),
        "stock_a_ml_per_ms_per_cm": answer.ml_per_ms_per_cm,
        "currency": answer.file.currency,
    }  # fmt: skip


def plain_held(held: Held) -> dict[str, Any]:
    """What a tank holds, as one JSON value."""
    return {
        "title": held.file.title,
        "volume_l": held.file.volume_l,
        "doses_g": {portion.product.name: portion.grams for portion in held.portions},
        "contents": _plain_contents(held.contents),
    }


def plain_products(products: Iterable[Product]) -> dict[str, Any]:
    """What ships, by name, as one JSON value."""
    return {
        product.name: {
            "about": product.about,
            "kind": product.kind.value,
            "formula": product.formula,
            "percent": {element.value: mg / 10.0 for element, mg in product.mg_per_g.items()},
            "density_g_per_ml": product.density_g_per_ml,
            "soluble_g_per_kg": {f"{at_c:g}": grams for at_c, grams in product.solubility},
        }
        for product in products
    }


def _plain_weighing(weighing: Weighing) -> dict[str, Any]:
    return {
        "weigh": [_plain_weighed(weighed) for weighed in in_order(weighing.single)],
        "bottles": [
            {
                "name": bottle_name(bottle),
                "fillings": bottle.fillings,
                "take_ml": bottle.take_ml,
                "weigh": [_plain_weighed(weighed) for weighed in bottle.weighed],
            }
            for bottle in weighing.bottles
        ],
    }


def _plain_weighed(weighed: Weighed) -> dict[str, Any]:
    product = weighed.product
    return {"name": product.name, "unit": product.unit, "exact": weighed.exact, "measured": weighed.measured}


def _plain_contents(contents: Contents) -> dict[str, Any]:
    return {
        "mg_per_l": {element.value: mg for element, mg in contents.mg_per_l.items() if mg > 0.0},
        "ec_ms_per_cm": contents.ec_ms_per_cm,
        "ec_doubt_ms_per_cm": contents.ec_doubt_ms_per_cm,
        "ph_just_mixed": contents.ph[0] if contents.ph else None,
        "ph_in_air": contents.ph[1] if contents.ph else None,
        "clear_up_to_ph": contents.clear_up_to_ph if isfinite(contents.clear_up_to_ph) else None,
        "alkalinity_mg_caco3_per_l": MG_CACO3_PER_MEQ * contents.alkalinity_meq_per_l,
        "ammonium_share": contents.ammonium_share,
        "cost": contents.cost,
    }
