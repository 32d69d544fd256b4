"""What `evenwater mix` prints: tables to weigh by, what the tank then holds, how to dissolve it, cautions."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from math import isfinite

from daemon import words_of_mixing as words
from daemon.crop.products import Product, dissolves_g_per_kg
from daemon.mixes import Answer, Held
from daemon.words_of_mixing import Step


def mix_lines(answer: Answer) -> Iterator[str]:
    """The whole answer, as a person weighs by it."""
    yield answer.file.title
    yield from words.heading(answer)
    yield ""
    if answer.stocks is not None and answer.stock_weighings is not None:
        for stock, weighing in zip((answer.stocks.a, answer.stocks.b), answer.stock_weighings, strict=True):
            yield words.stock_heading(stock)
            yield from _numbered(words.steps(weighing))
            yield from (f"  {note}" for note in words.stock_notes(stock, answer))
            yield ""
    yield words.tank_heading(answer)
    yield from _numbered([*words.steps(answer.tank), *words.stock_steps(answer)])
    yield from (f"  {note}" for note in words.feed_notes(answer))
    yield ""
    yield f"  {'mg/L':<8}{'wanted':>9}{'in water':>10}{'in tank':>9}{'off':>9}   as weighed"
    yield from (_element(*row) for row in words.elements(answer))
    yield ""
    yield from words.of_contents(answer.weighed, answer.file, answer.water_ec_ms_per_cm)
    yield from words.missed(answer)
    yield from words.coarse(answer)
    yield ""
    yield "how:"
    yield from (f"  {line}" for line in words.how(answer))
    yield ""
    yield "with care:"
    yield from (f"  {line}" for line in words.care(answer))


def contains_lines(held: Held) -> Iterator[str]:
    """What is in the tank."""
    doses = ", ".join(f"{p.product.measured(p.grams):g} {p.product.unit} {p.product.name}" for p in held.portions)
    yield f"{held.file.title}: {held.file.volume_l:g} L after {doses}"
    yield "counted from fresh source water; what plants took since, and what was there before, is not in it"
    yield ""
    yield f"  {'element':<8}{'mg/L':>10}"
    for name, mg_per_l in words.by_name(held.contents).items():
        yield f"  {name:<8}{words.mg(mg_per_l):>10}"
    yield ""
    yield from words.of_contents(held.contents, held.file)


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


def _numbered(steps: Sequence[Step]) -> Iterator[str]:
    for number, step in enumerate(steps, start=1):
        note = f"  {step.note}" if step.parts else f"{step.note:>22}"
        yield f"  {number:>2}  {step.name:<32}{step.amount:>9} {step.unit:<3}{note}".rstrip()
        for part in step.parts:
            yield f"        {part.name:<30}{part.amount:>9} {part.unit}  {part.note:>22}".rstrip()


def _element(name: str, wanted: str, in_water: str, in_tank: str, off: str) -> str:
    percent, _, mark = off.partition(" %")
    told = f"{percent:>7} %{mark}" if off else ""
    return f"  {name:<8}{wanted:>9}{in_water:>10}{in_tank:>9}{told}"
