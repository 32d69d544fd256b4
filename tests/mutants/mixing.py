"""What keeps a weighed-out solution and its stocks from being wrong: nothing pumps, yet somebody pours it."""

from __future__ import annotations

from tests.mutants.mutant import mutants_of

MIXING = (
    *mutants_of(
        "daemon/crop/stocks.py",
        "tests/crop/test_stocks.py",
        (
            (
                "stock of what holds calcium and its partner",
                " or (calcium and partner):",
                ":",
                "test_what_holds_both_goes_into_no_stock",
            ),
            (
                "stock without acid or base",
                "if product.liquid or product.kind in (Kind.ACID, Kind.BASE) or",
                "if",
                "test_where_each_goes",
            ),
            (
                "stock of calcium apart",
                "    if calcium or (product.has(Element.FE)",
                "    if (product.has(Element.FE)",
                "test_where_each_goes",
            ),
            (
                "stock that would not stay dissolved",
                "    if not worst.dissolves:",
                "    if False:",
                "test_too_strong_is_refused_with_the_strength_that_holds",
            ),
            (
                "stock the strength that would",
                ".share for stock in pair) <= MOST_FULL",
                ".share for stock in pair) <= 2.0 * MOST_FULL",
                "test_too_strong_is_refused_with_the_strength_that_holds",
            ),
            (
                "stock gypsum by its water too",
                "zip(_brought(portions, asked.volume_l), water, strict=True)",
                "zip(_brought(portions, asked.volume_l), Totals(), strict=True)",
                "test_hard_water_is_told_where_gypsum_may_fall_out",
            ),
        ),
    ),
    *mutants_of(
        "daemon/crop/mixing.py",
        "tests/crop/test_mixing.py",
        (
            (
                "mix acid where none is needed",
                "if task.acid is None or not excess > 0.0:",
                "if task.acid is None:",
                "test_no_acid_into_water_that_needs_none",
            ),
            (
                "mix acid of unknown strength",
                "    if not task.acid.acid_meq_per_g > 0.0:",
                "    if False:",
                "test_an_acid_of_unknown_strength_is_refused",
            ),
            (
                "mix alkalinity that is to be left",
                "alkalinity_of(task.water) - task.leave_meq_per_l",
                "alkalinity_of(task.water)",
                "",
            ),
            (
                "mix what acid brings",
                "there = added(amounts_of(task.water), acid.brings(task.volume_l) if acid else {})",
                "there = amounts_of(task.water)",
                "test_salts_make_room_for_what_acid_brings",
            ),
            (
                "mix ammonium ceiling",
                "    return brought > ceiling_mg_per_l * 1.001",
                "    return False",
                "test_ammonium_stays_below_its_ceiling",
            ),
            (
                "mix EC below the water's",
                "    if not least < ec_ms_per_cm:",
                "    if False:",
                "test_an_ec_that_cannot_be_is_refused",
            ),
            (
                "mix EC beyond the strongest",
                "    if not ec_ms_per_cm < most:",
                "    if False:",
                "test_an_ec_that_cannot_be_is_refused",
            ),
        ),
    ),
    *mutants_of(
        "daemon/crop/weighing.py",
        "tests/crop/test_weighing.py",
        (
            (
                "weigh acid down",
                "floor(exact / step) if portion.product.kind is Kind.ACID else round(exact / step)",
                "round(exact / step)",
                "test_acid_is_rounded_down",
            ),
            (
                "weigh a bottle that dissolves",
                "        if all(w.measured <= _most(w.product) for w in bottle.weighed):",
                "        if True:",
                "test_a_bottle_that_dissolves_is_preferred_to_one_that_is_exact",
            ),
            (
                "weigh iron in a bottle of its own",
                "return Place.A if place(product) is Place.A else Place.B",
                "return Place.B",
                "test_iron_has_a_bottle_of_its_own",
            ),
        ),
    ),
    *mutants_of(
        "daemon/crop/contents.py",
        "tests/crop/test_contents.py",
        (
            (
                "contents no pH of a label",
                "ph=None if labelled else _ph(totals),",
                "ph=_ph(totals),",
                "test_a_label_tells_no_ph_and_more_doubt",
            ),
            (
                "contents more doubt of a label",
                "doubt = sqrt(_TABLE_DOUBT**2 + _PURITY_DOUBT**2 + (_LABEL_DOUBT * by_label) ** 2)",
                "doubt = sqrt(_TABLE_DOUBT**2 + _PURITY_DOUBT**2)",
                "test_a_label_tells_no_ph_and_more_doubt",
            ),
            (
                "contents cost not known",
                "    if any(price is None for price in prices):\n        return None\n",
                "",
                "test_cost_is_told_only_where_every_price_is",
            ),
        ),
    ),
    *mutants_of(
        "daemon/crop/saturation.py",
        "tests/crop/test_saturation.py",
        (
            (
                "saturation the worst where it cannot be reckoned",
                "        share = 1.0\n",
                "        share = 0.0\n",
                "test_where_no_ph_is_found_the_worst_is_assumed",
            ),
            (
                "saturation where a tank stays clear",
                "        return brushite(with_base(base), temperature_c) < 0.0",
                "        return True",
                "test_the_ph_up_to_which_a_tank_stays_clear",
            ),
        ),
    ),
    *mutants_of(
        "daemon/crop/growth.py",
        "tests/crop/test_growth.py",
        (
            (
                "growth an hour that cannot be",
                "if not (isfinite(hour.air_c) and hour.light_umol >= 0.0 and isfinite(hour.light_umol)):",
                "if False:",
                "test_an_hour_that_cannot_be_is_refused",
            ),
            (
                "growth what is no weighing",
                "if not (one.modelled_g > 0.0 and one.weighed_g > 0.0 and one.heads > 0):",
                "if False:",
                "test_what_is_no_weighing_tells_nothing",
            ),
        ),
    ),
)
