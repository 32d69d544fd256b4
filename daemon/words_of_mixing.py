"""What is said of a mix, by command line and page alike: steps to weigh, what it holds, how, with what care."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import isfinite

from config.mix import MixFile
from daemon.crop.contents import Contents
from daemon.crop.elements import MG_CACO3_PER_MEQ, Element, nitrogen
from daemon.crop.mixing import Met, Why
from daemon.crop.products import Kind, Product
from daemon.crop.stocks import Place, Stock, place
from daemon.crop.weighing import BOTTLE_ML, Bottle, Weighed, Weighing
from daemon.mixes import Answer

ACID_INTO_WATER = "acid into water, never water into acid"
KEPT_APART = "never pour concentrates A and B together: one into the whole tank, stirred in, then the other"
# Source water for lettuce, mg/L: Oklahoma State Extension HLA-6722, Table 1.
LIMITS = {Element.NA: (50.0, "sodium"), Element.CL: (140.0, "chloride")}
_SHOWN = ("N", "P", "K", "Ca", "Mg", "S", "Fe", "Mn", "Zn", "B", "Cu", "Mo", "Na", "Cl")


def heading(answer: Answer) -> Iterator[str]:
    """Of what it is, how strong, and where the recipe is from."""
    file, recipe = answer.file, answer.recipe
    about = f" ({recipe.about})" if recipe.about else ""
    yield f"{file.volume_l:g} L of {file.recipe}{about} at {100.0 * answer.mix.strength:.0f} % of its strength"
    if recipe.source:
        yield f"source: {recipe.source}"
        yield f"status: {recipe.status}"


# --- what to weigh ------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Step:
    """What goes in, and how much of it. parts: what is weighed into a bottle that is made for many fillings."""

    name: str
    amount: str
    unit: str
    note: str = ""
    parts: tuple[Step, ...] = ()


def steps(weighing: Weighing) -> list[Step]:
    """Acid, what dissolves with anything, sulfates and phosphates, bottles, iron, calcium: as they go in."""
    singles = [(turn_of(weighed.product), _single(weighed)) for weighed in in_order(weighing.single)]
    bottles = [(_TURN_OF_BOTTLES, _bottle(bottle)) for bottle in weighing.bottles]
    return [step for _, step in sorted([*singles, *bottles], key=lambda item: item[0])]


def stock_steps(answer: Answer) -> list[Step]:
    """A and B into the tank, one after the other; none where it is no mix of concentrates."""
    if answer.stocks is None:
        return []
    each_ml = in_steps(1000.0 * answer.file.volume_l / answer.stocks.a.strength, answer.file.measure_ml)
    return [Step("stock A, stirred in well", each_ml, "mL"), Step("stock B", each_ml, "mL")]


def stock_heading(stock: Stock) -> str:
    """How much of it, and how strong."""
    return f"stock {stock.name}, {stock.volume_l:g} L at {stock.strength:g}-fold, in this order:"


def tank_heading(answer: Answer) -> str:
    """What goes into the tank itself."""
    return f"into {answer.file.volume_l:g} L, in this order:"


def stock_notes(stock: Stock, answer: Answer) -> Iterator[str]:
    """How near it stands to falling out."""
    coldest_c = answer.file.stocks.coldest_c if answer.file.stocks else 0.0
    if stock.fullest.of:
        share = f"{100.0 * stock.fullest.share:.0f} %"
        yield f"at {coldest_c:g} °C {stock.fullest.of} stands at {share} of what dissolves"
    if not stock.clear:
        what = "gypsum" if stock.gypsum > stock.brushite else "calcium phosphate"
        yield f"with this water {what} may fall out of stock {stock.name}: make it with rain water"


def feed_notes(answer: Answer) -> Iterator[str]:
    """How much of the stocks pumps are to feed."""
    if answer.ml_per_ms_per_cm is not None:
        ml = f"{answer.ml_per_ms_per_cm:.0f}"
        yield f"{ml} mL of each raise this tank by 1 mS/cm; to be fed by pumps, in its settings:"
        yield f"[reservoir.NAME.ec] stock_a_ml_per_ms_per_cm = {ml}.0"


def _single(weighed: Weighed) -> Step:
    return Step(weighed.product.name, _of(weighed), weighed.product.unit, _rounding(weighed))


def _bottle(bottle: Bottle) -> Step:
    made = f"of a litre made for {bottle.fillings} fillings:"
    parts = tuple(Step(weighed.product.name, _of(weighed), "g", _rounding(weighed)) for weighed in bottle.weighed)
    return Step(bottle_name(bottle), f"{bottle.take_ml:g}", "mL", made, parts)


def in_order(group: Sequence[Weighed]) -> list[Weighed]:
    """As they go in."""
    return sorted(group, key=lambda weighed: (turn_of(weighed.product), weighed.product.name))


_TURN_OF_BOTTLES = 3
_TURNS = {Place.EITHER: 1, Place.B: 2, Place.TANK: 4, Place.A: 5}


def turn_of(product: Product) -> int:
    """When it goes in: acid first, calcium last."""
    if product.kind is Kind.ACID:
        return 0
    last = 1 if product.has(Element.CA) else 0
    return _TURNS[place(product)] + last


def bottle_name(bottle: Bottle) -> str:
    """What to write on it."""
    iron = all(place(weighed.product) is Place.A for weighed in bottle.weighed)
    return "iron bottle" if iron else "trace element bottle"


def _of(weighed: Weighed) -> str:
    return in_steps(weighed.measured, weighed.step)


def in_steps(value: float, step: float) -> str:
    """A value with as many decimals as its step has."""
    exponent = Decimal(repr(step)).normalize().as_tuple().exponent
    return f"{round(value / step) * step:.{max(0, -int(exponent))}f}"


def _rounding(weighed: Weighed) -> str:
    return f"{100.0 * weighed.off:+.1f} % by rounding" if abs(weighed.off) >= 0.005 else ""


# --- what it holds ------------------------------------------------------------------------------------------


def elements(answer: Answer) -> Iterator[tuple[str, str, str, str, str]]:
    """Of each element: its name, mg/L wanted, in the water, in the tank as weighed, and by how much it is off."""
    for met in answer.mix.met:
        given = met.goal.of(answer.weighed.mg_per_l)
        off = 100.0 * (given - met.wanted_mg_per_l) / met.wanted_mg_per_l if met.wanted_mg_per_l else 0.0
        mark = "   see below" if met.why else ""
        wanted, water = mg(met.wanted_mg_per_l), mg(met.water_mg_per_l)
        yield met.goal.name, wanted, water, mg(given), f"{off:+.1f} %{mark}"
    told = {met.goal.name for met in answer.mix.met}
    for name, mg_per_l in by_name(answer.weighed).items():
        if name not in told:
            yield name, "-", "", mg(mg_per_l), ""


def by_name(contents: Contents) -> dict[str, float]:
    """mg/L by the name of the element, ammonium beside all nitrogen."""
    found = {"N": nitrogen(contents.mg_per_l), "NH4-N": contents.mg_per_l.get(Element.AMMONIUM_N, 0.0)}
    found |= {element.value: mg for element, mg in contents.mg_per_l.items()}
    return {name: found[name] for name in _SHOWN if found.get(name, 0.0) > 0.0}


def mg(mg_per_l: float) -> str:
    """With as many digits as it deserves."""
    if mg_per_l >= 10.0:
        return f"{mg_per_l:.1f}"
    return f"{mg_per_l:.3f}" if mg_per_l >= 0.0005 else "0"


def of_contents(contents: Contents, file: MixFile, water_ec: float | None = None) -> Iterator[str]:
    """EC, pH and alkalinity, what falls out, what the crop bears of salt, what it costs."""
    own = f", {water_ec:.2f} of it the water's own" if water_ec is not None else ""
    doubt = f"{contents.ec_ms_per_cm:.2f} ± {contents.ec_doubt_ms_per_cm:.2f}"
    yield f"EC {doubt} mS/cm at 25 °C{own}: measure it, and believe the meter"
    if contents.ph is not None:
        mixed, rested = contents.ph
        yield f"pH about {mixed:.1f} just mixed, {rested:.1f} after days in the open: measure, then adjust"
    alkalinity = MG_CACO3_PER_MEQ * contents.alkalinity_meq_per_l
    yield f"alkalinity left {alkalinity:.0f} mg/L CaCO3"
    yield f"ammonium {100.0 * contents.ammonium_share:.0f} % of all nitrogen"
    if isfinite(contents.clear_up_to_ph):
        yield f"above pH {contents.clear_up_to_ph:.1f} calcium phosphate begins to fall out"
    for element, (limit, name) in LIMITS.items():
        if contents.mg_per_l.get(element, 0.0) > limit:
            much = f"{contents.mg_per_l[element]:.0f} mg/L"
            yield f"{name} {much}: lettuce bears {limit:g}; thin the water with rain water"
    if contents.cost is not None:
        litre = 1000.0 * contents.cost / file.volume_l
        yield f"cost {contents.cost:.2f} {file.currency} ({litre:.2f} for 1000 L)".replace("  ", " ")


def missed(answer: Answer) -> Iterator[str]:
    """Which element is not met, why, and what would help."""
    for met in answer.mix.missed:
        buy = _buy(answer.helped.get(met.goal.name))
        yield f"{met.goal.name} is missed by {100.0 * met.off:+.0f} % before rounding: {_why(met)}{buy}"


def _why(met: Met) -> str:
    if met.why is Why.WATER:
        return f"{met.why}; thin it with rain water"
    if met.why is Why.ACID:
        return f"{met.why}; take another, or thin the water with rain water and need less"
    return str(met.why)


def _buy(helped: tuple[str, ...] | None) -> str:
    if helped is None:
        return ""
    return f"; one of these would do: {', '.join(helped)}" if helped else "; no one product that ships would do"


def coarse(answer: Answer) -> Iterator[str]:
    """What this scale cannot weigh well enough, and what a label leaves untold."""
    groups = (answer.tank, *(answer.stock_weighings or ()))
    too_little = [weighed for group in groups for weighed in group.too_coarse]
    if too_little:
        names = ", ".join(weighed.product.name for weighed in too_little)
        smallest = f"scale ({answer.file.scale_g:g} g) or cylinder ({answer.file.measure_ml:g} mL)"
        yield f"too little for this {smallest}: {names}; take a finer one, or mix more at once, as concentrates"
    for product in answer.products:
        if product.nitrogen_untold:
            yield f"{product.name}: its label does not tell the kind of its nitrogen; taken as nitrate"
        if not product.pure:
            yield f"{product.name}: by its label, which leaves much untold: no pH, EC in more doubt"


# --- how, and with what care --------------------------------------------------------------------------------


def how(answer: Answer) -> Iterator[str]:
    """In which order, and how each dissolves."""
    if any(product.kind is Kind.ACID for product in answer.products):
        yield "fill the tank to nine tenths; acid first, a thin stream into moving water; stir for five minutes"
    if answer.stocks is not None:
        yield "stocks: in three quarters of the water, lukewarm, one salt after the other, wholly; then fill up"
        yield "label them A and B with the date; dark, cool, out of reach of children; shake before use"
    elif not all(product.liquid for product in answer.products):
        yield "each salt in its own jug of lukewarm water, wholly dissolved, then into the tank, stirring"
        yield "calcium last, when all else is well mixed: strong, it turns to stone beside sulfate or phosphate"
    if any(product.liquid and product.kind is not Kind.ACID for product in answer.products):
        yield "each concentrate into the whole tank, stirred in well before the next"
    if any(group.bottles for group in (answer.tank, *(answer.stock_weighings or ()))):
        yield f"bottles: in {BOTTLE_ML / 1000.0:g} L of rain water each; label, keep dark, shake before use"
    yield "fill up, let it mix, measure EC and pH, correct in small steps; only then plants"


def care(answer: Answer) -> Iterator[str]:
    """The cautions of all that is handled."""
    products = answer.products
    if any(product.kind is Kind.ACID for product in products):
        yield f"{ACID_INTO_WATER}; goggles, gloves, apron, running water near; for adults"
    if answer.stocks is not None or _concentrates_apart(products):
        yield KEPT_APART
    yield "gloves and goggles; do not breathe the dust of salts; no food beside it; jugs and spoons of its own"
    if any(product.oxidiser for product in products):
        yield "nitrates are oxidisers and feed a fire: dry, in their own bags, away from all that burns"
    if any(product.has(Element.B, Element.CU, Element.ZN, Element.MN) for product in products):
        yield "trace elements: ten times too much poisons plants; some harm eyes and fish: never down a drain"
    yield "labels, safety data sheets and local rules win over anything printed here"


def _concentrates_apart(products: Sequence[Product]) -> bool:
    """Whether bottles are among them of which one holds calcium and another sulfate or phosphate."""
    bottles = [product for product in products if product.liquid]
    calcium, partners = ([p for p in bottles if p.has(*held)] for held in ((Element.CA,), (Element.S, Element.P)))
    return any(one is not other for one in calcium for other in partners)
