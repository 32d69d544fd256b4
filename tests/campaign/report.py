"""One report of many months: sums, worsts and rates, as rows for people and as plain values for programs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

HOURS_A_MONTH = 30.0 * 24.0
SHOWN = 20  # seeds of one kind of finding that are listed


@dataclass(frozen=True, slots=True)
class Month:
    """What came of one seed. Lists of text say what and when, for a person to follow with --story.

    worst_day_share: of a cap; excursion_ph: after a dose that nothing else had a part in, poured_ph: also
    where a pump was stuck on or a person poured; wrong_doses: all on grossly wrong readings; beyond_first: all
    but the first of each fault, beyond_by: those by kind of fault; delays_s: seconds to the alarm, by kind of
    fault; unseen: faults without alarm that had something to show; hand_latches: locks that only a hand's dose
    was behind; stopped: why the program itself ended, if it did.
    """

    seed: int
    hours: float
    healthy_hours: float = 0.0
    in_band_hours: float = 0.0
    faults: Counter[str] = field(default_factory=Counter)
    happened: Counter[str] = field(default_factory=Counter)
    doses: int = 0
    worst_day_share: float = 0.0
    violations: tuple[str, ...] = ()
    excursion_ph: float = 0.0
    poured_ph: float = 0.0
    wrong_doses: int = 0
    beyond_first: tuple[str, ...] = ()
    beyond_by: Counter[str] = field(default_factory=Counter)
    locks: tuple[str, ...] = ()
    false_latches: tuple[str, ...] = ()
    hand_latches: tuple[str, ...] = ()
    missed: tuple[str, ...] = ()
    unseen: Counter[str] = field(default_factory=Counter)
    delays_s: tuple[tuple[str, float], ...] = ()
    stopped: str = ""
    ph_probes: int = 1
    story: tuple[str, ...] = ()


def summed(months: Sequence[Month]) -> dict[str, Any]:
    """All months as one: counts added, worsts taken, false latches per healthy month."""
    healthy_hours = sum(month.healthy_hours for month in months)
    false_latches = sum(len(month.false_latches) for month in months)
    return {
        "runs": len(months),
        "hours": round(sum(month.hours for month in months), 1),
        "faults": _added(month.faults for month in months),
        "happened": _added(month.happened for month in months),
        "doses": sum(month.doses for month in months),
        "worst_day_share_of_cap": max((month.worst_day_share for month in months), default=0.0),
        "cap_violations": sum(len(month.violations) for month in months),
        "worst_excursion_ph": max((month.excursion_ph for month in months), default=0.0),
        "worst_excursion_with_a_stuck_pump_or_a_hand_ph": max((month.poured_ph for month in months), default=0.0),
        "doses_on_wrong_readings": sum(month.wrong_doses for month in months),
        "doses_on_wrong_readings_beyond_first": sum(len(month.beyond_first) for month in months),
        "doses_beyond_first_by_fault": _added(month.beyond_by for month in months),
        "locks": sum(len(month.locks) for month in months),
        "healthy_hours": round(healthy_hours, 1),
        "healthy_hours_in_band": round(sum(month.in_band_hours for month in months), 1),
        "false_latches": false_latches,
        "false_latches_per_healthy_month": rate(false_latches, healthy_hours),
        "latches_after_a_hand": sum(len(month.hand_latches) for month in months),
        "missed_faults": sum(len(month.missed) for month in months),
        "unseen_faults": _added(month.unseen for month in months),
        "worst_delay_s": worst_delays(months),
        "with_two_ph_probes": _of_two([month for month in months if month.ph_probes > 1]),
        "stopped": [f"seed {month.seed}: {month.stopped}" for month in months if month.stopped],
    }


def _of_two(months: Sequence[Month]) -> dict[str, Any]:
    """Those with a second pH probe, for themselves."""
    healthy_hours = sum(month.healthy_hours for month in months)
    return {
        "runs": len(months),
        "doses_on_wrong_readings_beyond_first": sum(len(month.beyond_first) for month in months),
        "worst_excursion_ph": max((month.excursion_ph for month in months), default=0.0),
        "false_latches_per_healthy_month": rate(sum(len(m.false_latches) for m in months), healthy_hours),
    }


def rate(count: int, hours: float) -> float | None:
    """So many in a month of 30 days; None where there was no such time."""
    return count / hours * HOURS_A_MONTH if hours > 0.0 else None


def worst_delays(months: Sequence[Month]) -> dict[str, float]:
    """The longest time to an alarm of each kind of fault that had one, in seconds."""
    worst: dict[str, float] = {}
    for month in months:
        for kind, delay_s in month.delays_s:
            worst[kind] = max(worst.get(kind, 0.0), delay_s)
    return dict(sorted(worst.items()))


def is_clean(months: Sequence[Month]) -> bool:
    """Whether no cap was crossed, no dose repeated a gross error, no fault was missed, and nothing broke."""
    return not any(month.violations or month.beyond_first or month.missed or month.stopped for month in months)


def _added(counters: Iterator[Counter[str]]) -> dict[str, int]:
    total: Counter[str] = Counter()
    for counter in counters:
        total += counter
    return dict(sorted(total.items()))


# for people


def _share(part: float, whole: float) -> str:
    return f"{part / whole:.1%}" if whole > 0.0 else "no healthy time"


def rows(report: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """The report as what and how much."""
    yield "runs", f"{report['runs']}"
    yield "hours simulated", f"{report['hours']:,.0f}"
    yield "faults injected", f"{sum(report['faults'].values())}"
    yield "doses", f"{report['doses']:,}"
    yield "worst 24 h total, share of its cap", f"{report['worst_day_share_of_cap']:.1%}"
    yield "cap violations", f"{report['cap_violations']}"
    yield "worst excursion caused by dosing", f"{report['worst_excursion_ph']:.2f} pH"
    with_others = report["worst_excursion_with_a_stuck_pump_or_a_hand_ph"]
    yield "  where a stuck pump or a hand poured too", f"{with_others:.2f} pH"
    yield "doses on readings wrong by more than 0.5 pH", f"{report['doses_on_wrong_readings']}"
    yield "  beyond the first of each fault", f"{report['doses_on_wrong_readings_beyond_first']}"
    for kind, count in report["doses_beyond_first_by_fault"].items():
        yield f"    {kind}", f"{count}"
    two = report["with_two_ph_probes"]
    yield (
        "  of it in the months with two pH probes",
        f"{two['doses_on_wrong_readings_beyond_first']} in {two['runs']}",
    )
    yield "locks", f"{report['locks']}"
    per_month = report["false_latches_per_healthy_month"]
    yield "false latches per healthy month", "no healthy time" if per_month is None else f"{per_month:.2f}"
    yield "  false latches in healthy hours", f"{report['false_latches']} in {report['healthy_hours']:,.0f}"
    yield "  after a dose by hand, told to nobody", f"{report['latches_after_a_hand']}"
    yield "healthy time with pH in band", _share(report["healthy_hours_in_band"], report["healthy_hours"])
    yield "missed faults", f"{report['missed_faults']}"
    yield "runs that the program itself ended", f"{len(report['stopped'])}"


def kind_rows(report: dict[str, Any]) -> Iterator[tuple[str, str, str, str]]:
    """Each kind of fault: how many, how many without alarm that had something to show, the longest delay."""
    for kind, count in report["faults"].items():
        delay_s = report["worst_delay_s"].get(kind)
        delay = "" if delay_s is None else f"{delay_s / 60.0:,.0f} min"
        yield kind, str(count), str(report["unseen_faults"].get(kind, 0)), delay


def findings(months: Sequence[Month]) -> Iterator[str]:
    """Everything to look at, with the seed to repeat it by."""
    for what in ("violations", "beyond_first", "missed", "false_latches", "hand_latches"):
        lines = [f"seed {month.seed}: {text}" for month in months for text in getattr(month, what)]
        yield from (f"{what.replace('_', ' ')}: {line}" for line in lines[:SHOWN])
        if len(lines) > SHOWN:
            yield f"{what.replace('_', ' ')}: and {len(lines) - SHOWN} more"
    yield from (f"stopped: seed {month.seed}: {month.stopped}" for month in months if month.stopped)
