"""Numbers as words."""

from __future__ import annotations

import pytest

from config.prices import Prices
from daemon.crop.costs import Missing, Thing, costs
from daemon.crop.harvest_book import Became
from daemon.report import wording

PRICES = Prices(currency="EUR", water_per_m3=4.0, shop_per_head=1.5)
DEAR = Prices(currency="EUR", water_per_m3=4.0, shop_per_head=0.05)
NO_SHOP = Prices(currency="EUR", water_per_m3=4.0)
EACH = "It cost 0.40 EUR, 0.10 EUR for each head cut"
WATER: dict[Thing, float | Missing] = {Thing.WATER: 100.0}


@pytest.mark.parametrize(
    ("amounts", "prices", "cut", "said"),
    [
        (WATER, PRICES, 4, f"{EACH}; in the shop it is 1.50 EUR. Each saves 1.40 EUR."),
        (WATER, DEAR, 4, f"{EACH}; in the shop it is 0.05 EUR. Each costs 0.05 EUR more."),
        (
            {**WATER, Thing.STOCK_A: 5.0},
            PRICES,
            4,
            "It cost at least 0.40 EUR, 0.10 EUR for each head cut; in the shop it is 1.50 EUR. "
            "Each saves at most 1.40 EUR.",
        ),
        (WATER, PRICES, 0, "It cost 0.40 EUR so far. What a head cost shows once the last one is cut."),
        ({Thing.WATER: Missing.NOT_MEASURED}, PRICES, 4, "What it cost is not known."),
        (WATER, NO_SHOP, 4, f"{EACH}. What such a head costs in the shop is not known: [prices] shop_per_head."),
    ],
)
def test_the_verdict_says_what_is_missing_in_it(
    amounts: dict[Thing, float | Missing], prices: Prices, cut: int, said: str
) -> None:
    """At least, at most, so far, not known."""
    assert wording.verdict(costs(amounts, prices, cut), "EUR") == said


@pytest.mark.parametrize(
    ("of", "said"),
    [
        (None, "not known"),
        (Became(0.5, 0.25, 0.25), "eaten 50 %, shared 25 %, composted 25 %"),
        (Became(0.5, 0.0, 0.0), "eaten 50 %, not told 50 %"),
        (Became(0.0, 0.0, 0.0), "not told 100 %"),
    ],
)
def test_what_became_of_a_harvest(of: Became | None, said: str) -> None:
    """What nobody told is told as that."""
    assert wording.became(of) == said


def test_amounts_have_their_units() -> None:
    """And a sensible number of digits."""
    assert [wording.amount(thing, 12.345) for thing in (Thing.WATER, Thing.STOCK_A, Thing.ELECTRICITY)] == [
        "12.3 L",
        "12 mL",
        "12.3 kWh",
    ]
    assert (wording.amount(Thing.PLUGS, 12.0), wording.amount(Thing.WATER, None)) == ("12", "not known")
    assert (wording.weight(999.0), wording.weight(1500.0)) == ("999 g", "1.50 kg")
    assert (wording.volume(4.25), wording.volume(15000.0)) == ("4.2 mL", "15.0 L")
    assert (wording.days(1), wording.days(45)) == ("1 day", "45 days")
