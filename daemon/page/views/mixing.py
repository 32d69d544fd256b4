"""Mixing: what to weigh for a tank or for concentrates, with what care, and what it then holds. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from config.mix import MixFile
from daemon import words_of_mixing as words
from daemon.mixes import Answer
from daemon.page.markup import Markup, element, joined
from daemon.page.views import forms
from daemon.words_of_mixing import Step

AS_THE_FILE = "file"
NOT_NAMED = (
    "The settings name no mix file yet. It tells your water, the recipe and what stands on your shelf: copy "
    "config/mixes/quince-lane.toml beside the settings, write yours into it, name it in the settings and restart:"
)
ELEMENTS = ("", "wanted", "in water", "in tank", "off")


@dataclass(frozen=True, slots=True)
class Strength:
    """How strong, in words; None for as the file has it."""

    text: str
    ec_ms_per_cm: float | None


@dataclass(frozen=True, slots=True)
class Mixing:
    """What was asked for and what came of it. strengths: what is to be read, by what is sent."""

    named: str = ""
    file: MixFile | None = None
    strengths: Mapping[str, str] = field(default_factory=dict)
    asked: Mapping[str, str] = field(default_factory=dict)
    answer: Answer | None = None
    trouble: tuple[str, ...] = ()

    def answered(self, answer: Answer) -> Mixing:
        """The same, with its answer."""
        return replace(self, answer=answer)

    def refused(self, why: str) -> Mixing:
        """The same, with what stands in its way."""
        return replace(self, trouble=(why,))


def mixing(of: Mixing) -> Markup:
    """The form, and what to weigh."""
    return joined(
        element("h1", "Mixing"), *_parts(of), element("p", element("a", "Back to the crop", href="/crop"))
    )


def _parts(of: Mixing) -> Iterator[Markup]:
    if not of.named:
        yield element("p", NOT_NAMED)
        yield element("p", element("code", '[garden] mix_file = "mix.toml"'))
        return
    if of.file is not None:
        yield element(
            "p",
            f"{of.file.title}. Water, recipe, shelf and scale as in ",
            element("code", of.named.rpartition("/")[2]),
            ".",
        )
        yield _form(of, of.file)
    if of.trouble:
        yield element("div", *(element("p", f"✕ {line}") for line in of.trouble), role="alert")
    if of.answer is not None:
        yield from _answer(of.answer)


def _form(of: Mixing, file: MixFile) -> Markup:
    decimal: dict[str, str | float] = {"inputmode": "decimal", "maxlength": 8}
    stocks = file.stocks
    concentrates = (
        forms.field(
            "stock_l",
            "Litres of each; left empty, as the mix file has it",
            "mix-stock",
            value=of.asked.get("stock_l", ""),
            **decimal,
        ),
        forms.field(
            "fold",
            "1 mL of each makes so many mL",
            "mix-fold",
            value=of.asked.get("fold") or f"{stocks.strength if stocks else 100.0:g}",
            **decimal,
        ),
    )
    fold = element(
        "details",
        element("summary", "Concentrates A and B"),
        *concentrates,
        id="mix-concentrates",
        open=bool(of.asked.get("stock_l")),
    )
    litres = of.asked.get("litres") or f"{file.volume_l:g}"
    return element(
        "form",
        forms.field("litres", "Litres of the tank", "mix-litres", value=litres, required=True, **decimal),
        forms.choice("for", "How strong", of.strengths, "mix-for", of.asked.get("for", "")),
        forms.field(
            "ec", "Or an EC of your own, in mS/cm at 25 °C", "mix-ec", value=of.asked.get("ec", ""), **decimal
        ),
        fold,
        element("button", "Reckon what to weigh"),
        method="get",
        action="/crop/mix",
    )


def _answer(answer: Answer) -> Iterator[Markup]:
    """With care first: what follows is weighed by it."""
    first, *more = words.heading(answer)
    yield element("h2", first)
    yield from (element("p", line, class_="why") for line in more)
    yield element("h3", "With care")
    yield _list(words.care(answer))
    if answer.stocks is not None and answer.stock_weighings is not None:
        for stock, weighing in zip((answer.stocks.a, answer.stocks.b), answer.stock_weighings, strict=True):
            yield _steps(words.stock_heading(stock), words.steps(weighing))
            yield _list(words.stock_notes(stock, answer))
    yield _steps(words.tank_heading(answer), [*words.steps(answer.tank), *words.stock_steps(answer)])
    yield _list(words.feed_notes(answer))
    yield element("h3", "How")
    yield _list(words.how(answer))
    yield element("h3", "What it then holds")
    yield _list(
        [
            *words.missed(answer),
            *words.coarse(answer),
            *words.of_contents(answer.weighed, answer.file, answer.water_ec_ms_per_cm),
        ]
    )
    yield _elements(answer)


def _steps(heading: str, steps: Sequence[Step]) -> Markup:
    return joined(
        element("h3", f"{heading[0].upper()}{heading[1:]}"),
        element("ol", *(element("li", *_step(step)) for step in steps), class_="weigh"),
    )


def _step(step: Step) -> Iterator[Markup]:
    yield element("strong", f"{step.amount} {step.unit}", class_="amount")
    yield element("span", f" {_named(step.name)}")
    if step.note:
        yield element("span", f" {step.note}", class_="why")
    if step.parts:
        yield element("ul", *(element("li", *_step(part)) for part in step.parts))


def _named(name: str) -> str:
    """As a person reads it on a bag."""
    return name.replace("_", " ")


def _elements(answer: Answer) -> Markup:
    heads = [element("th", text, scope="col") for text in ELEMENTS]
    rows = [
        element("tr", element("th", name, scope="row"), *(element("td", text.strip()) for text in cells))
        for name, *cells in words.elements(answer)
    ]
    table = element("table", element("thead", element("tr", *heads)), element("tbody", *rows))
    label = "Each element in mg/L: wanted, in the water, in the tank as weighed"
    return element(
        "details",
        element("summary", "Element by element, in mg/L"),
        element("div", table, class_="wide", tabindex=0, role="region", aria_label=label),
        id="mix-elements",
    )


def _list(lines: Iterator[str] | Sequence[str]) -> Markup:
    each = [element("li", line) for line in lines]
    return element("ul", *each) if each else Markup("")
