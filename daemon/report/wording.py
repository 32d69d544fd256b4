"""The report's numbers as words, for page and terminal alike. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from daemon import words
from daemon.crop.costs import ML_PER_L, PRICED, UNIT, Costs, Item, Missing, Thing
from daemon.crop.harvest_book import Became, Record, Season

NOT_KNOWN = "not known"
THING: Mapping[Thing, str] = {
    Thing.WATER: "water",
    Thing.STOCK_A: "stock A",
    Thing.STOCK_B: "stock B",
    Thing.PH_DOWN: "pH down",
    Thing.PH_UP: "pH up",
    Thing.ELECTRICITY: "electricity",
    Thing.PLUGS: "plugs and seeds",
}
_MISSING: Mapping[Missing, str] = {
    Missing.NO_SETTINGS: "the settings would tell: --settings",
    Missing.NOT_MEASURED: "no pump gives it; what you pour, tell with `evenwater poured`",
    Missing.NO_APPLIANCE: "name what draws current in [appliance.NAME]",
    Missing.NO_PRICE: "name its price in [prices]",
}
_NO_WATER = "no top-up pump gives it, and no level tells"
_PER: Mapping[str, str] = {"l": "a litre", "m3": "a m³", "kwh": "a kWh"}  # by the ending of a price's key
_DECIMALS: Mapping[Thing, int] = {
    Thing.WATER: 1,
    Thing.ELECTRICITY: 1,
    Thing.PLUGS: 0,
}


def amount(thing: Thing, of: float | None) -> str:
    """`54.2 L`, `120 mL`, `12`; that it is not known."""
    if of is None:
        return NOT_KNOWN
    unit = "" if thing is Thing.PLUGS else f" {UNIT[thing]}"
    return f"{of:.{_DECIMALS.get(thing, 0)}f}{unit}"


def why(item: Item) -> str:
    """Why its cost is not known, and what to do; "" where it is."""
    if item.missing is Missing.NOT_MEASURED and item.thing is Thing.WATER:
        return _NO_WATER
    return "" if item.missing is None else _MISSING[item.missing]


def money(of: float | None, currency: str) -> str:
    """`8.06 EUR`; that it is not known."""
    return NOT_KNOWN if of is None else f"{of:.2f} {currency}".rstrip()


def at_price(item: Item, currency: str) -> str:
    """` at 6.00 EUR per L`, as the settings have it; "" where nothing of it was used, or no price is known."""
    if item.price is None or not item.cost:
        return ""
    per = PRICED[item.thing][0].rpartition("_")[2]
    return f" at {money(item.price, currency)} {_PER.get(per, per)}"


def share(of: float | None) -> str:
    """`30 %`; that it is not known."""
    return NOT_KNOWN if of is None else f"{of * 100.0:.0f} %"


def in_band(of: float) -> str:
    """`in its band 98 % of the hours that could be relied on`."""
    return f"in its band {share(of)} of the hours that could be relied on"


def volume(ml: float) -> str:
    """`4.2 mL`, `15.0 L`."""
    return f"{ml:.1f} mL" if ml < ML_PER_L else f"{ml / ML_PER_L:.1f} L"


def weight(grams: float | None) -> str:
    """`167 g`, `1.50 kg`; that it is not known."""
    if grams is None:
        return NOT_KNOWN
    return f"{grams:.0f} g" if grams < 1000.0 else f"{grams / 1000.0:.2f} kg"


def days(of: int | None) -> str:
    """`45 days`; that it is not known."""
    return NOT_KNOWN if of is None else words.days(of)


def causes(pairs: Iterable[tuple[str, int]]) -> str:
    """`bolted 1, damping off 2`; `none`."""
    return ", ".join(f"{cause} {count}" for cause, count in pairs) or "none"


def became(of: Became | None) -> str:
    """What was done with the harvest, and what nobody told."""
    if of is None:
        return NOT_KNOWN
    told = {"eaten": of.eaten, "shared": of.shared, "composted": of.composted}
    rest = max(0.0, 1.0 - sum(told.values()))
    said = [f"{word} {share(part)}" for word, part in told.items() if part > 0.0]
    return ", ".join([*said, *([f"not told {share(rest)}"] if rest >= 0.005 or not said else [])])


def verdict(of: Costs, currency: str) -> str:
    """Costs per head against the shop, in a sentence that says what is missing in it."""
    if not of.any_known:
        return "What it cost is not known."
    known = f"It cost {'' if of.whole else 'at least '}{money(of.known, currency)}"
    if of.per_head is None:
        return f"{known} so far. What a head cost shows once the last one is cut."
    said = f"{known}, {money(of.per_head, currency)} for each head cut"
    if of.saved_per_head is None:
        return f"{said}. What such a head costs in the shop is not known: [prices] shop_per_head."
    most = "" if of.whole or of.saved_per_head < 0.0 else "at most "
    word = "saves" if of.saved_per_head >= 0.0 else "costs"
    more = "" if of.saved_per_head >= 0.0 else " more"
    saved = money(abs(of.saved_per_head), currency)
    return f"{said}; in the shop it is {money(of.shop_per_head, currency)}. Each {word} {most}{saved}{more}."


def facts(record: Record) -> Mapping[str, str]:
    """The book's line of one batch, what by what."""
    batch = record.batch
    unweighed = f" ({record.unweighed} pickings were not weighed)" if record.unweighed else ""
    return {
        "sown": f"{batch.sown_on}, {batch.plugs} plugs, {batch.seeds_per_plug} seeds each",
        "emerged": NOT_KNOWN if batch.emerged is None else f"{batch.emerged} plugs, {batch.emerged_on}",
        "set out": f"{batch.planted} heads, {batch.transplanted_on}" if batch.planted else "not yet",
        "picked": f"{batch.picked} heads, {weight(batch.grams)}{unweighed}" if batch.pickings else "not yet",
        "a head weighed": weight(record.grams_per_head),
        "to the first picking": days(record.days_to_harvest),
        "lost as seedlings": causes(batch.lost_seedlings),
        "lost as heads": causes(batch.lost_heads),
        "still standing": f"{batch.seedlings} seedlings, {batch.heads} heads",
        "of the harvest": became(record.became),
        "wasted, of heads gone": share(record.wasted),
    }


HEADS = (
    "batch",
    "sown",
    "plugs",
    "up",
    "set out",
    "picked",
    "weight",
    "a head",
    "days",
    "lost",
    "used",
    "wasted",
)


def row(record: Record) -> tuple[str, ...]:
    """A batch in the harvest book, below HEADS."""
    batch = record.batch
    return (
        batch.name,
        batch.sown_on.isoformat(),
        f"{batch.plugs}",
        "–" if batch.emerged is None else f"{batch.emerged}",
        f"{batch.planted}",
        f"{batch.picked}",
        weight(batch.grams) if batch.pickings else "–",
        _or_dash(record.grams_per_head, weight),
        "–" if record.days_to_harvest is None else f"{record.days_to_harvest}",
        f"{record.lost}",
        _or_dash(record.used, share),
        _or_dash(record.wasted, share),
    )


def _or_dash(of: float | None, said: Callable[[float], str]) -> str:
    return "–" if of is None else said(of)


def season(of: Season) -> tuple[str, ...]:
    """What became of all of them."""
    return (
        f"{of.picked} heads picked of {of.planted} set out, {weight(of.grams)} in all.",
        f"Of the harvest: {became(of.became)}.",
        f"Lost: {causes(of.lost.items())}. Wasted, of heads gone: {share(of.wasted)}.",
    )
