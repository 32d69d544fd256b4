"""What `evenwater mix` prints: tables to weigh by, what the tank then holds, how to dissolve it, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import isfinite

from config.mix import MixFile, Recipe
from daemon.crop.contents import Contents, Portion
from daemon.crop.elements import MG_CACO3_PER_MEQ, Element, nitrogen
from daemon.crop.mixing import Met, Mix, Why
from daemon.crop.products import Kind, Product, dissolves_g_per_kg
from daemon.crop.stocks import Place, Split, Stock, place
from daemon.crop.weighing import BOTTLE_ML, Bottle, Weighed, Weighing

# Source water for lettuce, mg/L: Oklahoma State Extension HLA-6722, Table 1.
LIMITS = {Element.NA: (50.0, "sodium"), Element.CL: (140.0, "chloride")}
_SHOWN = ("N", "P", "K", "Ca", "Mg", "S", "Fe", "Mn", "Zn", "B", "Cu", "Mo", "Na", "Cl")


@dataclass(frozen=True, slots=True)
class Answer:
    """A mix, and how a person measures it: into the tank, or into A and B and only the rest into the tank."""

    file: MixFile
    recipe: Recipe
    mix: Mix
    helped: dict[str, tuple[str, ...]]
    tank: Weighing
    stocks: Split | None
    stock_weighings: tuple[Weighing, Weighing] | None
    weighed: Contents
    water_ec_ms_per_cm: float
    ml_per_ms_per_cm: float | None  # of each stock, that raise this tank by 1 mS/cm

    @property
    def products(self) -> tuple[Product, ...]:
        """All that is handled."""
        return tuple(portion.product for portion in self.mix.portions)


@dataclass(frozen=True, slots=True)
class Held:
    """What a tank holds after doses."""

    file: MixFile
    portions: tuple[Portion, ...]
    contents: Contents


def mix_lines(answer: Answer) -> Iterator[str]:
    """The whole answer, as a person weighs by it."""
    file, mix = answer.file, answer.mix
    yield file.title
    about = f" ({answer.recipe.about})" if answer.recipe.about else ""
    yield f"{file.volume_l:g} L of {file.recipe}{about} at {100.0 * mix.strength:.0f} % of its strength"
    if answer.recipe.source:
        yield f"source: {answer.recipe.source}"
        yield f"status: {answer.recipe.status}"
    yield ""
    if answer.stocks is not None and answer.stock_weighings is not None:
        for stock, weighing in zip((answer.stocks.a, answer.stocks.b), answer.stock_weighings, strict=True):
            yield from _stock_lines(stock, weighing, answer)
        yield from _feed_lines(answer)
    else:
        yield f"into {file.volume_l:g} L, in this order:"
        yield from _weighed_lines(answer.tank)
    yield ""
    yield from _element_lines(answer)
    yield ""
    yield from _contents_lines(answer.weighed, file, answer.water_ec_ms_per_cm)
    yield from _missed_lines(answer)
    yield from _coarse_lines(answer)
    yield ""
    yield from _how_lines(answer)
    yield ""
    yield from _caution_lines(answer.products, stocks=answer.stocks is not None)


def contains_lines(held: Held) -> Iterator[str]:
    """What is in the tank."""
    doses = ", ".join(f"{p.product.measured(p.grams):g} {p.product.unit} {p.product.name}" for p in held.portions)
    yield f"{held.file.title}: {held.file.volume_l:g} L after {doses}"
    yield "counted from fresh source water; what plants took since, and what was there before, is not in it"
    yield ""
    yield f"  {'element':<8}{'mg/L':>10}"
    for name, mg_per_l in _by_name(held.contents).items():
        yield f"  {name:<8}{_mg(mg_per_l):>10}"
    yield ""
    yield from _contents_lines(held.contents, held.file)


def product_lines(products: Iterable[Product]) -> Iterator[str]:
    """What ships, with what it holds and how much dissolves."""
    yield f"{'name':<30}{'g in 1 L':>9}  holds, % by weight (pure)"
    for product in products:
        dissolved = dissolves_g_per_kg(product, 10.0)
        held = ", ".join(f"{element} {mg / 10.0:.2f}" for element, mg in product.mg_per_g.items())
        amount = f"{dissolved:.0f}" if isfinite(dissolved) else "-"
        density = f"; {product.density_g_per_ml:g} g/mL" if product.density_g_per_ml else ""
        yield f"{product.name:<30}{amount:>9}  {held}{density}"
    yield ""
    yield "g in 1 L: dissolve in a litre of water at 10 °C, alone; some from memory, see config/fertilisers.toml"


# --- what to weigh ------------------------------------------------------------------------------------------


def _stock_lines(stock: Stock, weighing: Weighing, answer: Answer) -> Iterator[str]:
    yield f"stock {stock.name}, {stock.volume_l:g} L at {stock.strength:g}-fold, in this order:"
    yield from _weighed_lines(weighing)
    coldest = answer.file.stocks.coldest_c if answer.file.stocks else 0.0
    if stock.fullest.of:
        share = f"{100.0 * stock.fullest.share:.0f} %"
        yield f"  at {coldest:g} °C {stock.fullest.of} stands at {share} of what dissolves"
    if not stock.clear:
        what = "gypsum" if stock.gypsum > stock.brushite else "calcium phosphate"
        yield f"  with this water {what} may fall out of stock {stock.name}: make it with rain water"
    yield ""


def _feed_lines(answer: Answer) -> Iterator[str]:
    stocks = answer.stocks
    if stocks is None:
        return
    each = f"{_in_steps(1000.0 * answer.file.volume_l / stocks.a.strength, answer.file.measure_ml):>9} mL"
    yield f"into {answer.file.volume_l:g} L, in this order:"
    yield from _weighed_lines(answer.tank, [f"{'stock A, stirred in well':<32}{each}", f"{'stock B':<32}{each}"])
    if answer.ml_per_ms_per_cm is not None:
        ml = f"{answer.ml_per_ms_per_cm:.0f}"
        yield f"  {ml} mL of each raise this tank by 1 mS/cm; to be fed by pumps, in its settings:"
        yield f"  [reservoir.NAME.ec] stock_a_ml_per_ms_per_cm = {ml}.0"


def _weighed_lines(weighing: Weighing, more: Sequence[str] = ()) -> Iterator[str]:
    """Acid, what dissolves with anything, sulfates and phosphates, bottles, iron, calcium; then what is more."""
    singles = [(turn_of(weighed.product), [_single(weighed)]) for weighed in in_order(weighing.single)]
    bottles = [(_TURN_OF_BOTTLES, list(_bottle_lines(bottle))) for bottle in weighing.bottles]
    ordered = [lines for _, lines in sorted([*singles, *bottles], key=lambda item: item[0])]
    for count, lines in enumerate([*ordered, *([line] for line in more)], start=1):
        yield f"  {count:>2}  {lines[0]}".rstrip()
        yield from (f"        {line}".rstrip() for line in lines[1:])


def _single(weighed: Weighed) -> str:
    return f"{weighed.product.name:<32}{_of(weighed):>9} {weighed.product.unit:<3}{_rounding(weighed)}"


def _bottle_lines(bottle: Bottle) -> Iterator[str]:
    made = f"of a litre made for {bottle.fillings} fillings:"
    yield f"{bottle_name(bottle):<32}{bottle.take_ml:>9g} mL   {made}"
    yield from (
        f"{weighed.product.name:<30}{_of(weighed):>9} g  {_rounding(weighed)}" for weighed in bottle.weighed
    )


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
    iron = all(place(weighed.product) is Place.A for weighed in bottle.weighed)
    return "iron bottle" if iron else "trace element bottle"


def _of(weighed: Weighed) -> str:
    return _in_steps(weighed.measured, weighed.step)


def _in_steps(value: float, step: float) -> str:
    """A value with as many decimals as its step has."""
    exponent = Decimal(repr(step)).normalize().as_tuple().exponent
    return f"{round(value / step) * step:.{max(0, -int(exponent))}f}"


def _rounding(weighed: Weighed) -> str:
    return f"{100.0 * weighed.off:+8.1f} % by rounding" if abs(weighed.off) >= 0.005 else ""


# --- what it holds ------------------------------------------------------------------------------------------


def _element_lines(answer: Answer) -> Iterator[str]:
    yield f"  {'mg/L':<8}{'wanted':>9}{'in water':>10}{'in tank':>9}{'off':>9}   as weighed"
    for met in answer.mix.met:
        given = met.goal.of(answer.weighed.mg_per_l)
        off = 100.0 * (given - met.wanted_mg_per_l) / met.wanted_mg_per_l if met.wanted_mg_per_l else 0.0
        mark = "   see below" if met.why else ""
        wanted, water = _mg(met.wanted_mg_per_l), _mg(met.water_mg_per_l)
        yield f"  {met.goal.name:<8}{wanted:>9}{water:>10}{_mg(given):>9}{off:>+7.1f} %{mark}"
    told = {met.goal.name for met in answer.mix.met}
    for name, mg_per_l in _by_name(answer.weighed).items():
        if name not in told:
            yield f"  {name:<8}{'-':>9}{'':>10}{_mg(mg_per_l):>9}"


def _by_name(contents: Contents) -> dict[str, float]:
    found = {"N": nitrogen(contents.mg_per_l), "NH4-N": contents.mg_per_l.get(Element.AMMONIUM_N, 0.0)}
    found |= {element.value: mg for element, mg in contents.mg_per_l.items()}
    return {name: found[name] for name in _SHOWN if found.get(name, 0.0) > 0.0}


def _mg(mg_per_l: float) -> str:
    if mg_per_l >= 10.0:
        return f"{mg_per_l:.1f}"
    return f"{mg_per_l:.3f}" if mg_per_l >= 0.0005 else "0"


def _contents_lines(contents: Contents, file: MixFile, water_ec: float | None = None) -> Iterator[str]:
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


def _missed_lines(answer: Answer) -> Iterator[str]:
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


def _coarse_lines(answer: Answer) -> Iterator[str]:
    groups = (answer.tank, *(answer.stock_weighings or ()))
    coarse = [weighed for group in groups for weighed in group.too_coarse]
    if coarse:
        names = ", ".join(weighed.product.name for weighed in coarse)
        steps = f"scale ({answer.file.scale_g:g} g) or cylinder ({answer.file.measure_ml:g} mL)"
        yield f"too little for this {steps}: {names}; take a finer one, or mix more at once (--stock-l)"
    for product in answer.products:
        if product.nitrogen_untold:
            yield f"{product.name}: its label does not tell the kind of its nitrogen; taken as nitrate"
        if not product.pure:
            yield f"{product.name}: by its label, which leaves much untold: no pH, EC in more doubt"


# --- how, and with what care ---------------------------------------------------------------------------------


def _how_lines(answer: Answer) -> Iterator[str]:
    yield "how:"
    if any(product.kind is Kind.ACID for product in answer.products):
        yield "  fill the tank to nine tenths; acid first, a thin stream into moving water; stir for five minutes"
    if answer.stocks is not None:
        yield "  stocks: in three quarters of the water, lukewarm, one salt after the other, wholly; then fill up"
        yield "  label them A and B with the date; dark, cool, out of reach of children; shake before use"
    elif not all(product.liquid for product in answer.products):
        yield "  each salt in its own jug of lukewarm water, wholly dissolved, then into the tank, stirring"
        yield "  calcium last, when all else is well mixed: strong, it turns to stone beside sulfate or phosphate"
    if any(product.liquid and product.kind is not Kind.ACID for product in answer.products):
        yield "  each concentrate into the whole tank, stirred in well before the next"
    if any(group.bottles for group in (answer.tank, *(answer.stock_weighings or ()))):
        yield f"  bottles: in {BOTTLE_ML / 1000.0:g} L of rain water each; label, keep dark, shake before use"
    yield "  fill up, let it mix, measure EC and pH, correct in small steps; only then plants"


def _concentrates_apart(products: Sequence[Product]) -> bool:
    """Whether bottles are among them of which one holds calcium and another sulfate or phosphate."""
    bottles = [product for product in products if product.liquid]
    calcium, partners = ([p for p in bottles if p.has(*held)] for held in ((Element.CA,), (Element.S, Element.P)))
    return any(one is not other for one in calcium for other in partners)


def _caution_lines(products: Sequence[Product], *, stocks: bool) -> Iterator[str]:
    yield "with care:"
    if any(product.kind is Kind.ACID for product in products):
        yield "  acid into water, never water into acid; goggles, gloves, apron, running water near; for adults"
    if stocks or _concentrates_apart(products):
        yield "  never pour concentrates A and B together: one into the whole tank, stirred in, then the other"
    yield "  gloves and goggles; do not breathe the dust of salts; no food beside it; jugs and spoons of its own"
    if any(product.oxidiser for product in products):
        yield "  nitrates are oxidisers and feed a fire: dry, in their own bags, away from all that burns"
    if any(product.has(Element.B, Element.CU, Element.ZN, Element.MN) for product in products):
        yield "  trace elements: ten times too much poisons plants; some harm eyes and fish: never down a drain"
    yield "  labels, safety data sheets and local rules win over anything printed here"
