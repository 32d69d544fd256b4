"""What to do about what a walk found: cultural before chemical, and what to tell the tank. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from daemon.crop.diary import Finding, Line, Walked, standing


@dataclass(frozen=True, slots=True)
class Remedy:
    """What to do about one thing: first, and if that was not enough. tank: hold or change-out, "" for neither."""

    first: str
    then: str
    tank: str = ""


TANK = {
    "hold": 'Tell the tank: evenwater hold --reservoir {where} "{what}", and look again tomorrow.',
    "change-out": "Tell the tank that new water is due: evenwater change-out begin --reservoir {where}",
}


def advice(
    where: str, findings: Iterable[Finding], remedies: Mapping[str, Remedy], lines: Iterable[Line]
) -> tuple[str, ...]:
    """What to do about it, a sentence each; nothing where nothing was found. lines: the walks before.

    Few call for the first step; many, or what the walk before at that place had found too, for the second too.
    The tank is told where there are many.
    """
    before = _found_before(where, lines)
    return tuple(
        sentence
        for finding in findings
        if finding.how_much != "none" and finding.what in remedies
        for sentence in _about(where, finding, remedies[finding.what], again=finding.what in before)
    )


def _about(where: str, finding: Finding, remedy: Remedy, *, again: bool) -> Iterator[str]:
    many = finding.how_much == "many"
    yield f"{finding.what}: {remedy.first}."
    if many or again:
        yield f"{finding.what}, {'many' if many else 'again'}: {remedy.then}."
    if many and remedy.tank:
        yield TANK[remedy.tank].format(where=where, what=finding.what)


def _found_before(where: str, lines: Iterable[Line]) -> frozenset[str]:
    """What the last walk past this place had found."""
    walks = [
        line.event for line in standing(lines) if isinstance(line.event, Walked) and line.event.where == where
    ]
    return (
        frozenset(each.what for each in walks[-1].findings if each.how_much != "none") if walks else frozenset()
    )
