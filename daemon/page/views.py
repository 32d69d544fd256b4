"""The views: now, trend, doses, alarms. From values to what stands on the page. Pure."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from daemon import words
from daemon.alarm.describe import explained
from daemon.alarm.table import Kind
from daemon.page.chart import Line, bar, line, ruler, summary
from daemon.page.markup import Markup, element, joined
from daemon.store.trend import Bucket, Event
from daemon.values import (
    Alarm,
    CapUse,
    Condition,
    Entry,
    Priority,
    Quality,
    ReservoirState,
    Role,
    State,
    Verdict,
)

SPANS: Mapping[str, int] = {"day": 1, "week": 7, "month": 30, "season": 120}
"""Days of each stretch of time that can be looked at."""
LONGEST_REASON = 200  # characters, as a request may carry
_SIGN = {Quality.GOOD: "●", Quality.UNCERTAIN: "◐", Quality.BAD: "✕"}
_CONDITION_SIGN = {Condition.KEEPING: "●", Condition.WATCHING: "◌", Condition.HELD: "‖", Condition.LOCKED: "✕"}
_GRAVITY = {Priority.HIGH: "!!!", Priority.MEDIUM: "!!", Priority.LOW: "!"}


# now


def now(state: State, token: str) -> Markup:
    """Each reservoir: what it does and waits for, its values against their bands, last doses, a way to pause."""
    return joined(
        element("h1", "Now"), *(_reservoir(of, token, len(state.reservoirs)) for of in state.reservoirs.values())
    )


def _reservoir(of: ReservoirState, token: str, among: int) -> Markup:
    condition = f"{_CONDITION_SIGN[of.condition]} {words.condition(of.condition, of.condition_reason)}"
    doses = [element("li", f"{entry.utc:%d %b %H:%M} {words.entry(entry)}") for entry in of.last_doses[:3]]
    return element(
        "section",
        element("h2", of.title),
        element("p", element("strong", condition)),
        element("p", of.waiting_for),
        element("ul", *(_reading(of, verdict) for verdict in of.verdicts.values()), class_="readings"),
        element("h3", "Last doses"),
        element("ol", *doses) if doses else element("p", "No dose yet."),
        _pausing(of, token, among),
        class_=f"reservoir {of.condition.value}",
    )


def _reading(of: ReservoirState, verdict: Verdict) -> Markup:
    quantity, amount = verdict.quantity, words.believed(verdict)
    band = of.bands.get(quantity)
    parts: list[str] = [
        element("span", words.QUANTITY[quantity], class_="quantity"),
        element("span", words.value(quantity, amount), class_="amount"),
        element("span", f"{_SIGN[verdict.quality]} {verdict.quality.value}", class_="quality"),
    ]
    if band:
        parts += [ruler(amount, band), element("span", _against(amount, *band), class_="against")]
    if verdict.quality is not Quality.GOOD:
        parts.append(element("span", words.why(verdict), class_="why"))
    return element("li", *parts)


def _against(amount: float | None, low: float, high: float) -> str:
    band = f"band {low:g} to {high:g}"
    if amount is None:
        return f"{band}, value not known"
    if low <= amount <= high:
        return f"◆ inside its {band}"
    return f"◇ {'below' if amount < low else 'above'} its {band}"


def _pausing(of: ReservoirState, token: str, among: int) -> Markup:
    named = f" --reservoir {of.name}" if among > 1 else ""
    if of.condition is Condition.LOCKED:
        return _at_the_tank("To clear it, once its cause is found and mended", f"evenwater clear{named}")
    if of.condition is Condition.HELD:
        return _at_the_tank("To let it dose again", f"evenwater release{named}")
    field = f"reason-{of.name}"
    form = element(
        "form",
        *_hidden(token, reservoir=of.name),
        element("label", "Why, for whoever looks later", for_=field),
        element("input", id=field, name="reason", required=True, maxlength=LONGEST_REASON, autocomplete="off"),
        element("p", f"It stays paused until somebody types evenwater release{named} at the tank."),
        element("button", f"Pause dosing of {of.title}"),
        method="post",
        action="/hold",
    )
    return element("details", element("summary", "Pause dosing"), form)


def _at_the_tank(what: str, command: str) -> Markup:
    """What may make it dose is not done from here."""
    return element("p", f"{what}, type at the tank: ", element("code", command), class_="tank")


def _hidden(token: str, **fields: str) -> list[Markup]:
    return [element("input", type="hidden", name=key, value=of) for key, of in {"token": token, **fields}.items()]


# trend


@dataclass(frozen=True, slots=True)
class Stretch:
    """One line of the trend, with a few wide stretches of the same for a table."""

    line: Line
    rows: Sequence[Bucket]


def trend(reservoirs: Mapping[str, str], chosen: str, span: str, stretches: Sequence[Stretch]) -> Markup:
    """Lines over time of one reservoir. reservoirs: titles by name; span: one of SPANS."""
    parts: list[str] = [element("h1", f"Trend of {reservoirs.get(chosen, chosen)}, last {span}")]
    if len(reservoirs) > 1:
        parts.append(
            _choices("Reservoir", {(name, span): title for name, title in reservoirs.items()}, (chosen, span))
        )
    parts.append(_choices("How long", {(chosen, each): each for each in SPANS}, (chosen, span)))
    parts.append(
        element(
            "p",
            "▲ below a line: a dose. ! above it: an alarm began. Box: today's band. Shade: lowest to highest.",
        )
    )
    parts += [_stretch(of) for of in stretches]
    if not stretches:
        parts.append(element("p", "Nothing was kept of it yet: the first rows come after five minutes."))
    return joined(*parts)


def _choices(label: str, links: Mapping[tuple[str, str], str], chosen: tuple[str, str]) -> Markup:
    """links: what is to be read there, by reservoir and span."""
    each = [
        element(
            "a",
            text,
            href=f"/trend?{urlencode({'of': to[0], 'span': to[1]})}",
            aria_current="true" if to == chosen else None,
        )
        for to, text in links.items()
    ]
    return element("nav", *each, aria_label=label, class_="choices")


def _stretch(of: Stretch) -> Markup:
    quantity = of.line.quantity
    parts: list[str] = [element("h2", words.QUANTITY[quantity])]
    if of.line.buckets:
        parts.append(line(of.line))
    parts.append(element("p", summary(of.line)))
    if of.rows:
        parts.append(element("details", element("summary", "As a table"), _table(of)))
    return element("section", *parts, class_="chart")


def _table(of: Stretch) -> Markup:
    quantity = of.line.quantity
    heads = [element("th", text, scope="col") for text in ("from", "lowest", "mean", "highest")]
    rows = [
        element(
            "tr",
            element("th", f"{row.begins:%d %b %H:%M}", scope="row"),
            *(element("td", words.value(quantity, amount)) for amount in (row.low, row.mean, row.high)),
        )
        for row in of.rows
    ]
    return element("table", element("thead", element("tr", *heads)), element("tbody", *rows))


# doses


def doses(state: State, entries: Sequence[Entry]) -> Markup:
    """What each pump has used of its caps, and the newest lines of the ledger with their reasons."""
    titles = {name: of.title for name, of in state.reservoirs.items()}
    lines = [
        element(
            "li",
            element("time", f"{entry.utc:%d %b %H:%M:%S}", datetime=f"{entry.utc:%Y-%m-%dT%H:%M:%SZ}"),
            f" {titles.get(entry.reservoir, entry.reservoir)}: {words.entry(entry)}",
        )
        for entry in entries
    ]
    return joined(
        element("h1", "Doses"),
        *(_caps(of) for of in state.reservoirs.values()),
        element("h2", f"The last {len(lines)}, newest first" if lines else "No dose yet"),
        element("ol", *lines, class_="ledger", reversed=True),
    )


def _caps(of: ReservoirState) -> Markup:
    pumps = [element("li", *_cap(role, use)) for role, use in of.caps.items()]
    return element("section", element("h2", f"Caps of {of.title}"), element("ul", *pumps, class_="caps"))


def _cap(role: Role, use: CapUse) -> Iterator[Markup]:
    yield element("strong", words.ROLE[role])
    for span, used, cap in (
        ("last hour", use.last_hour_ml, use.max_per_hour_ml),
        ("last 24 h", use.last_day_ml, use.max_per_day_ml),
    ):
        yield element("span", f"{span} {used:.1f} of {cap:g} mL")
        yield bar(used, cap)
    yield element("span", f"{use.bottle_left_ml:.0f} mL left in the bottle")


# alarms


def alarms(state: State, events: Sequence[Event], token: str) -> Markup:
    """What calls for a person, gravest first, with what to do; and what began and ended of late."""
    new = [_alarm(alarm, token) for alarm in state.alarms if not alarm.because_of]
    follow = [
        element("li", f"{alarm.key} follows from {alarm.because_of}")
        for alarm in state.alarms
        if alarm.because_of
    ]
    parts: list[str] = [element("h1", "Alarms"), *(new or [element("p", "✓ Nothing calls for you.")])]
    if follow:
        parts += [element("h2", "Explained by another"), element("ul", *follow)]
    if events:
        lines = [element("li", _happened(event)) for event in reversed(events)]
        parts += [element("h2", "The last seven days, newest first"), element("ol", *lines, reversed=True)]
    return joined(*parts)


def _happened(event: Event) -> str:
    return f"{event.at:%d %b %H:%M} {event.key or event.reservoir} {event.what}: {event.text}"


def _alarm(alarm: Alarm, token: str) -> Markup:
    until = f" until {alarm.until_utc:%d %b %H:%M}" if alarm.until_utc is not None else ""
    told = {
        "Since": f"{alarm.raised_utc:%d %b %H:%M:%S}, {alarm.state.value.replace('_', ' ')}{until}",
        **_advice(alarm.kind),
        **({"You have": alarm.within} if alarm.within else {}),
    }
    facts = [joined(element("dt", name), element("dd", text)) for name, text in told.items()]
    parts: list[str] = [
        element("h2", f"{_GRAVITY[alarm.priority]} {alarm.text}"),
        element("p", f"{alarm.priority.value} priority, {alarm.key}"),
        element("dl", *facts),
    ]
    if alarm.unheard:
        parts.append(
            element(
                "form",
                *_hidden(token, key=alarm.key),
                element("button", f"I have seen {alarm.key}"),
                element("p", "This silences it. It clears nothing, and nothing is dosed by it."),
                method="post",
                action="/acknowledge",
            )
        )
    return element("section", *parts, class_=f"alarm {alarm.priority.value}")


def _advice(kind: str) -> dict[str, str]:
    if kind not in set(Kind):
        return {}
    said = explained(Kind(kind))
    return {
        "What you do": said["you"],
        "You have": said["you_have"],
        "The daemon": said["the_daemon"],
        "If nobody comes": said["if_nobody_comes"],
    }


def answered(text: str, back: str, *, done: bool) -> Markup:
    """What came of something asked for, and the way back."""
    return joined(
        element("h1", "Done" if done else "Not done"),
        element("p", text),
        element("p", element("a", "Back", href=back)),
    )
