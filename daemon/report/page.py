"""A report as one HTML page: nothing is asked from elsewhere, no script runs, and it can be printed. Pure.

All text of the grower's goes through `daemon.page.markup`, which escapes it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import timedelta

from daemon import words
from daemon.crop.costs import Costs
from daemon.crop.diary import Line, Walked
from daemon.crop.diary_words import entry
from daemon.page.chart import line, summary
from daemon.page.markup import Markup, element, joined
from daemon.report import wording
from daemon.report.facts import BatchFacts, Facts, Plot, Stay

_NOTHING_FROM_ELSEWHERE = "default-src 'none'; style-src 'unsafe-inline'"


def document(facts: Facts, style: str) -> str:
    """The whole page. style: the style sheet's own text."""
    title = _title(facts)
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        element("meta", http_equiv="Content-Security-Policy", content=_NOTHING_FROM_ELSEWHERE),
        element("title", title),
        element("style", Markup(style)),
    )
    body = element(
        "body",
        element(
            "header",
            element("p", "Evenwater", class_="name"),
            element("p", f"Harvest report, {facts.written:%d %B %Y}"),
        ),
        element(
            "main",
            element("h1", title),
            *([_season(facts)] if len(facts.batches) > 1 else []),
            *(_batch(one, facts.currency) for one in facts.batches),
        ),
        element("footer", *(element("p", note) for note in facts.notes)),
        class_="report",
    )
    return "<!doctype html>\n" + element("html", head, body, lang="en") + "\n"


def _title(facts: Facts) -> str:
    where = f", {facts.site}" if facts.site else ""
    if len(facts.batches) == 1:
        return f"Batch {facts.batches[0].record.batch.name}{where}"
    return f"The season's {len(facts.batches)} batches{where}"


# the season


def _season(facts: Facts) -> Markup:
    of = facts.season
    told = {
        "sown": f"{of.plugs} plugs in {of.batches} batches",
        "set out": f"{of.planted} heads",
        "picked": f"{of.picked} heads, {wording.weight(of.grams)}",
        "of the harvest": wording.became(of.became),
        "lost, seedlings and heads": wording.causes(of.lost.items()),
        "wasted, of heads gone": wording.share(of.wasted),
    }
    nobodys = ", ".join(
        f"{wording.THING[thing]} {wording.amount(thing, amount)}"
        for thing, amount in facts.nobodys.items()
        if amount > 0.0
    )
    if nobodys:
        told["used while no head stood"] = f"{nobodys}: in nobody's costs"
    return element("section", element("h2", "All together"), _told(told), _batches(facts))


def _batches(facts: Facts) -> Markup:
    heads = (
        "batch",
        "sown",
        "set out",
        "picked",
        "weight",
        "a head",
        "days",
        "lost",
        "used",
        "wasted",
        "cost a head",
    )
    rows = [
        (
            element("a", one.record.batch.name, href=f"#{one.record.batch.name}"),
            f"{one.record.batch.sown_on}",
            f"{one.record.batch.planted}",
            f"{one.record.batch.picked}",
            wording.weight(one.record.batch.grams),
            wording.weight(one.record.grams_per_head),
            "–" if one.record.days_to_harvest is None else f"{one.record.days_to_harvest}",
            f"{one.record.lost}",
            wording.share(one.record.used),
            wording.share(one.record.wasted),
            _per_head(one.costs, facts.currency),
        )
        for one in facts.batches
    ]
    return _table("The batches", heads, rows)


def _per_head(of: Costs, currency: str) -> str:
    if of.per_head is None or not of.any_known:
        return wording.NOT_KNOWN
    return f"{'' if of.whole else '≥ '}{wording.money(of.per_head, currency)}"


# one batch


def _batch(of: BatchFacts, currency: str) -> Markup:
    batch = of.record.batch
    return element(
        "article",
        element("h2", f"{batch.name}: {batch.variety} {batch.crop}"),
        element("p", wording.verdict(of.costs, currency)),
        _spans(of),
        _told(wording.facts(of.record)),
        *_stages(of),
        element("h3", "What it used, and what that cost"),
        _costs(of.costs, currency),
        *(_stay(stay) for stay in of.stays),
        *_walks(of.walks),
        element("h3", "Diary"),
        _listed((one.day.isoformat(), f"day {(one.day - batch.sown_on).days}: {entry(one)}") for one in of.diary),
        id=batch.name,
    )


def _spans(of: BatchFacts) -> Markup:
    """How long it stood where, as a bar and in words."""
    batch, record = of.record.batch, of.record
    last = record.until or max([*(stay.end.date() for stay in of.stays), batch.sown_on])
    bounds = [batch.sown_on, batch.transplanted_on or last, record.first_picked or last, last]
    spans = {
        name: (end - begin).days
        for name, begin, end in zip(("nursery", "growing", "picking"), bounds[:-1], bounds[1:], strict=True)
    }
    bars = [
        element("span", class_=f"stage {name}", style=f"flex-grow:{days}")
        for name, days in spans.items()
        if days > 0
    ]
    said = ", ".join(f"{name} {wording.days(days)}" for name, days in spans.items() if days > 0)
    return joined(
        element("div", *bars, class_="stages", aria_hidden="true"),
        element("p", f"{said or 'sown today'}.".capitalize()),
    )


def _stages(of: BatchFacts) -> Iterator[Markup]:
    """What its crop's file asks for, stage by stage."""
    if not of.stages:
        return
    rows = [
        (
            stage.name,
            f"{of.record.batch.sown_on + timedelta(days=stage.from_day)}",
            f"{stage.ph_low:g} to {stage.ph_high:g}",
            f"{stage.ec_low_ms_per_cm:g} to {stage.ec_high_ms_per_cm:g}",
            f"{stage.water_low_c:g} to {stage.water_high_c:g}",
        )
        for stage in of.stages
    ]
    yield element("h3", f"Its stages, by the file of {of.record.batch.crop}")
    yield _table("Stages", ("stage", "from", "pH", "EC, mS/cm", "water, °C"), rows)


def _told(pairs: Mapping[str, str]) -> Markup:
    return element(
        "dl",
        *(element("div", element("dt", what), element("dd", said)) for what, said in pairs.items()),
        class_="facts",
    )


def _costs(of: Costs, currency: str) -> Markup:
    rows = [
        (
            wording.THING[item.thing],
            wording.amount(item.thing, item.amount),
            wording.why(item) or f"{wording.money(item.cost, currency)}{wording.at_price(item, currency)}",
        )
        for item in of.items
    ]
    if of.any_known:
        rows.append(("together" if of.whole else "what is known", "", wording.money(of.known, currency)))
    return _table("Costs", ("what", "how much", "cost"), rows)


# in a reservoir


def _stay(of: Stay) -> Markup:
    doses = [(words.ROLE[role], f"{count}", wording.volume(ml)) for role, (count, ml) in of.doses.items()]
    parts: list[str] = [
        element("h3", f"In {of.title}, {of.begin:%d %B} to {of.end:%d %B %Y}"),
        element("div", *(_plot(plot) for plot in of.plots), class_="plots"),
    ]
    if of.plots:
        parts.append(
            element("p", "▲ a dose, ! an alarm began, box: the band, shade: lowest to highest.", class_="against")
        )
    else:
        parts.append(element("p", "Nothing of it was read in this time."))
    if doses:
        parts += [
            element("p", "What was given into it meanwhile, to all that stood there:"),
            _table("Doses", ("what", "doses", "together"), doses),
        ]
    parts.append(element("h4", "What called for a person"))
    parts.append(_listed(_called(of)) if of.called else element("p", "Nothing."))
    return element("section", *parts)


def _called(of: Stay) -> Iterator[tuple[str, str]]:
    for one in of.called:
        again = f", {one.times} times" if one.times > 1 else ""
        what = one.text.partition(". ")[0]  # what to do about it was for then
        yield f"{one.first:%Y-%m-%d}", f"{one.key}{again}: {what}"


def _plot(of: Plot) -> Markup:
    share = "" if of.in_band is None else f"; {wording.in_band(of.in_band)}"
    return element(
        "figure",
        line(of.line),
        element("figcaption", f"{summary(of.line)}{share}."),
        class_="chart",
    )


# walks


def _walks(walks: Sequence[Line]) -> Iterator[Markup]:
    if walks:
        yield element("h3", "Scouting")
        yield _listed((one.day.isoformat(), _walk(one.event)) for one in walks if isinstance(one.event, Walked))


def _walk(of: Walked) -> str:
    found = [
        f"{one.what} {one.how_much}{f' ({one.note})' if one.note else ''}"
        for one in of.findings
        if one.how_much != "none"
    ]
    advice = f"; to do: {'; '.join(of.advice)}" if of.advice else ""
    return f"{of.where}: {', '.join(found) or 'nothing found'}{advice}"


# shapes


def _listed(lines: Iterable[tuple[str, str]]) -> Markup:
    """Days with what was on them."""
    return element(
        "ul",
        *(element("li", element("time", day, datetime=day), f" {text}") for day, text in lines),
        class_="days",
    )


def _table(name: str, heads: Sequence[str], rows: Iterable[Sequence[str]]) -> Markup:
    """Wider than a phone, it scrolls by itself. The first cell of a row names it."""
    body = [
        element("tr", element("th", row[0], scope="row"), *(element("td", cell) for cell in row[1:]))
        for row in rows
    ]
    table = element(
        "table",
        element("thead", element("tr", *(element("th", head, scope="col") for head in heads))),
        element("tbody", *body),
    )
    return element("div", table, class_="wide", role="region", aria_label=name, tabindex=0)
