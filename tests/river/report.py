"""Scores what was refused against what the technician labelled, and lays it out as a page."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from daemon.values import Quantity
from tests.river.replay import Refused, judged, plainly
from tests.river.series import Event, Kind, Site, events, good

TUNED_ON = ("main_street",)
LEAST_SUBTLE = 0.85
MOST_ALARMS = 0.5  # false, a month
MOST_REFUSED = 0.0005  # of good samples
_NAME = {Quantity.TEMPERATURE: "temperature", Quantity.EC: "EC", Quantity.PH: "pH"}


@dataclass(frozen=True, slots=True)
class Caught:
    """Events of one kind: how many, how many of them were refused, and the most samples that took."""

    events: int
    caught: int
    longest_delay: int

    def __str__(self) -> str:
        late = f", after {self.longest_delay}" if self.caught and self.longest_delay else ""
        return f"{self.caught} of {self.events}{late}" if self.events else "–"


@dataclass(frozen=True, slots=True)
class Score:
    """One quantity of one site by one set of rules.

    alarms: false ones, a month. refused: share of the good samples.
    """

    site: str
    quantity: Quantity
    rules: str
    caught: dict[Kind, Caught]
    alarms: float
    refused: float


@dataclass(frozen=True, slots=True)
class Replay:
    """One site, and what each set of rules refuses there."""

    site: Site
    refused: dict[str, Refused]


def replay(site: Site) -> Replay:
    """Run the judge over it, and the plain rules."""
    return Replay(site, {"judge": judged(site), "plain": plainly(site)})


def scores(of: Replay, *, own_labels_only: bool = False) -> Iterator[Score]:
    """The judge and the plain rules, quantity by quantity."""
    for quantity in _NAME:
        for rules, refused in of.refused.items():
            yield _score(of.site, quantity, rules, refused, own_labels_only=own_labels_only)


def _score(site: Site, quantity: Quantity, rules: str, of: Refused, *, own_labels_only: bool) -> Score:
    refused, found = of[quantity], events(site, quantity)
    counts = good(site, quantity, own_labels_only=own_labels_only)
    wrongly = [is_good and is_refused for is_good, is_refused in zip(counts, refused, strict=True)]
    begun = sum(now and not before for before, now in zip([False, *wrongly], wrongly, strict=False))
    caught = {kind: _caught([event for event in found if event.kind is kind], refused) for kind in Kind}
    return Score(site.name, quantity, rules, caught, begun / site.months, sum(wrongly) / sum(counts))


def _caught(of_kind: Sequence[Event], refused: Sequence[bool]) -> Caught:
    """Caught is an event of which a sample was refused; late by the samples since it showed what it is."""
    caught = [event for event in of_kind if any(refused[event.first : event.end])]
    return Caught(len(of_kind), len(caught), max((_delay(event, refused) for event in caught), default=0))


def _delay(event: Event, refused: Sequence[bool]) -> int:
    return max(0, refused.index(True, event.first) - event.shows)


def subtle_share(of: Iterable[Score]) -> float:
    """Of all subtle events, the share that was caught; 1 where there were none."""
    each = [score.caught[Kind.SUBTLE] for score in of]
    known = sum(caught.events for caught in each)
    return sum(caught.caught for caught in each) / known if known else 1.0


def rows(of: Iterable[Score]) -> Iterator[str]:
    """The table, as Markdown."""
    yield "| site | quantity | rules | gross | subtle | unseen | false alarms a month | good samples refused |"
    yield "|---|---|---|---|---|---|---:|---:|"
    for score in of:
        kinds = " | ".join(str(score.caught[kind]) for kind in Kind)
        name = f"{score.site} (tuned on)" if score.site in TUNED_ON else score.site
        told = f"{score.alarms:.2f} | {score.refused:.3%}"
        yield f"| {name} | {_NAME[score.quantity]} | {score.rules} | {kinds} | {told} |"


def page(replays: Sequence[Replay]) -> str:
    """The whole of docs/probes.md."""
    every = [score for one in replays for score in scores(one)]
    ours = [score for score in every if score.rules == "judge"]
    plain = [score for score in every if score.rules == "plain"]
    shares = f"Subtle events caught: judge {subtle_share(ours):.0%}, plain rules {subtle_share(plain):.0%}."
    strict = [score for one in replays for score in scores(one, own_labels_only=True) if score.rules == "judge"]
    return "\n".join([_HEAD, *rows(every), "", shares, _BELOW, *rows(strict), ""])


_HEAD = """\
# How far the judge may be believed

Made by `python -m tests.river --write`; not edited by hand.

## Real probes in a river

Nine months of temperature, conductivity and pH, every 15 minutes, from rivers, with a technician's labels.
Source, not shipped: the series published with Jones, Jones & Horsburgh (2022),
doi:10.1016/j.envsoft.2022.105364. They are replayed as they came, sentinels included, through the judge
(`daemon/measure/judge.py`) with what it learns by itself (`daemon/measure/normal.py`). Nothing is set for one
site. The numbers in the code were chosen on the site marked so. One was widened after the other was seen: how
long a value may at least stand, from 6 to 12 hours, for a false alarm there (pH, 0.11 a month).

- *gross*: a sentinel, a zero, out of span, or frozen for a day. *subtle*: the raw value departs from the
  corrected one by more than 0.2 pH, 5 % of EC or 0.5 °C, or was thrown away. *unseen*: labelled, and neither.
  Caught is an event of which a sample was refused; "after n": the longest delay, in samples since the first
  that shows it.
- A sample is good where within an hour there is no label on it, nor on the temperature it leans on: without
  temperature there is no compensated EC, and, where none is assumed in the settings, no pH.
- *plain*: a range, a largest change from one sample to the next (0.2 pH, 5 % of EC, 0.5 °C), a day without
  change.
- Targets: gross all, within one sample; subtle 85 %; at most 0.5 false alarms a month and 0.050 % of good
  samples refused, on every site and quantity.
- What does not show here: a slow drift. A river changes over the seasons as fast as an electrode does; only
  calibrating, a second probe, or how far pH comes back after doses (`daemon/dose/usual.py`) tells them apart.
"""

_BELOW = """
The same, where only labels on the quantity itself are left out: each visit that silenced the temperature, and was
not labelled on EC and pH as well, counts as a false alarm there.
"""
