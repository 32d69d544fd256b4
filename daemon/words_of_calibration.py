"""Sentences for a person who calibrates a probe: from fits, settling and points to what is read at the tank."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from daemon.measure.ageing import Forecast, Made, ProbeNote
from daemon.measure.calibrate import AnyFit, FitReason, Point
from daemon.measure.convert import (
    Calibration,
    EcCalibration,
    LevelCalibration,
    PhCalibration,
    TemperatureCalibration,
)
from daemon.measure.echo import FIRST, NEWEST, SKIPPED, EchoNote, Heard
from daemon.measure.history import Past
from daemon.measure.settling import WINDOW, Settling
from daemon.values import Numbers, Quantity
from daemon.words import value

UNIT = {Quantity.PH: "mV", Quantity.EC: "mS", Quantity.TEMPERATURE: "°C", Quantity.LEVEL: "of the reservoir"}
"""Of a probe's signal, before any calibration."""

OUT_OF_THE_WATER: Mapping[Quantity, str] = {
    Quantity.PH: "the probe is out of the water",
    Quantity.EC: "the probe is out of the water",
    Quantity.TEMPERATURE: "the thermometers are compared",
    Quantity.LEVEL: "the water is measured",
}
BACK_IN_THE_WATER: Mapping[Quantity, str] = {
    Quantity.PH: "put the probe back in the water",
    Quantity.EC: "put the probe back in the water",
    Quantity.TEMPERATURE: "have the probe in the water",
    Quantity.LEVEL: "fill the reservoir as it should be",
}

FIT: Mapping[FitReason, str] = {
    FitReason.FINE: "fine",
    FitReason.POINT_COUNT: "{points:.0f} points, needed are {fewest:.0f} to {most:.0f}: pH two or three buffers, "
    "EC one or two standards, temperature one thermometer, level two amounts; take the missing point",
    FitReason.NOT_A_NUMBER: "a value is not a number; begin again",
    FitReason.SAME_STANDARD: "the same solution was used twice; use two different ones",
    FitReason.TOO_CLOSE: "the points are too alike to tell a slope; use 7.00 and 4.01, 1.413 and 2.765, a nearly "
    "empty and a full reservoir",
    FitReason.UNSTABLE: "the reading had not come to rest; wait longer in still solution",
    FitReason.TEMPERATURES_DIFFER: "the solutions differ too much in temperature; let them stand side by side",
    FitReason.TEMPERATURE_RANGE: "a solution is too cold or too warm; bring it near the water's temperature",
    FitReason.SWAPPED: "the buffers were swapped, the signal moved the wrong way; check labels and begin again",
    FitReason.NO_RESPONSE: "the probe hardly moved: same cup twice, cracked bulb, dry or unplugged",
    FitReason.SLOPE_LOW: "slope too low: worn or dirty electrode, or an old buffer; clean it, use fresh buffer",
    FitReason.SLOPE_HIGH: "slope higher than physics allows: a wrong or spoiled buffer",
    FitReason.SLOPE_WORN: "the electrode is ageing; clean it and have a new one ready",
    FitReason.OFFSET: "offset too large: old reference junction, broken probe, or a standard that is not what "
    "its label says",
    FitReason.OFF_THE_LINE: "the three buffers do not lie on one line; one of them is wrong",
    FitReason.CELL_CONSTANT: "cell constant too far from nominal: dirty cell, a bubble, or the wrong standard",
    FitReason.CELL_ODD: "far from nominal; check that the standard is what its label says",
    FitReason.CELL_CHANGED: "{change_share:+.0%} from the last one: clean the cell, knock off bubbles, check "
    "the label",
    FitReason.TOO_WEAK: "that standard is too weak to tell the cell constant; use 1.413, "
    "and 0.084 only as a second one",
    FitReason.STOP_GAP: "a stop-gap: one buffer shows neither the slope nor that the probe answers at all, "
    "so nothing is dosed by it, and after 7 days it is void; calibrate in two buffers before that",
    FitReason.PERHAPS_686: "the 7.00 looks like a 6.86 ({off_ph:.2f} pH off as 7.00, {off_ph_exchanged:.2f} as "
    "6.86); read the label, and if it is 6.86 take it again under that name",
    FitReason.PERHAPS_700: "the 6.86 looks like a 7.00 ({off_ph:.2f} pH off as 6.86, {off_ph_exchanged:.2f} as "
    "7.00); read the label, and if it is 7.00 take it again under that name",
    FitReason.LEVEL_SCALE: "far from what empty_v and full_v of the settings say; correct those, restart, then "
    "calibrate",
    FitReason.THOUSANDFOLD: "µS/cm and mS/cm were mixed up: 1413 µS/cm is 1.413 mS/cm",
}

_SHOWN: Mapping[str, str] = {
    "slope_percent": "slope {:.1f} % of theory (85 to 105)",
    "offset_mv": "offset {:+.1f} mV (within ±30)",
    "cell_constant_per_cm": "cell constant {:.3f} per cm (0.5 to 2)",
    "offset_k": "{:+.2f} K (within ±3)",
    "scale": "scale {:.3f} (0.5 to 2)",
    "offset_share": "offset {:+.1%} of the reservoir (within ±50 %)",
}


def fit(of: AnyFit) -> str:
    """The fit's numbers and what they mean, as one sentence for the person at the tank."""
    parts = [text.format(of.numbers[key]) for key, text in _SHOWN.items() if key in of.numbers]
    advice = "; ".join(FIT[reason].format_map(_Known(of.numbers)) for reason in of.reasons)
    return f"{', '.join(parts)}: {advice}" if parts else advice


class _Known(dict[str, float]):
    """Numbers for a text; one that is missing is shown as such."""

    def __missing__(self, key: str) -> float:
        return float("nan")


def settling(quantity: Quantity, rest: Settling) -> str:
    """How far a probe has come to rest: signal, spread and drift against what is allowed."""
    if rest.mean is None or rest.spread is None or rest.allowed_spread is None:
        return "no reading yet"
    digits = 2 if quantity in (Quantity.PH, Quantity.TEMPERATURE) else 4
    drift = ""
    if rest.drift_per_min is not None and rest.allowed_per_min is not None:
        drift = f", drifts {rest.drift_per_min:+.{digits}f} a minute (at most {rest.allowed_per_min:.{digits}f})"
    return (
        f"{rest.mean:.{digits}f} {UNIT[quantity]}, moved {rest.spread:.{digits}f} "
        f"(at most {rest.allowed_spread:.{digits}f}){drift}, {rest.samples} of {WINDOW} samples"
    )


def settling_briefly(quantity: Quantity, rest: Settling) -> str:
    """As `settling`, short enough to stand beside a progress bar."""
    if rest.mean is None or rest.spread is None or rest.allowed_spread is None:
        return "no reading yet"
    digits = 2 if quantity in (Quantity.PH, Quantity.TEMPERATURE) else 3
    drift = "?" if rest.drift_per_min is None else f"{rest.drift_per_min:+.{digits}f}"
    return (
        f"{rest.mean:.{digits}f}, moves {rest.spread:.{digits}f} of {rest.allowed_spread:.{digits}f}, "
        f"drifts {drift} of {rest.allowed_per_min or 0.0:.{digits}f}/min"
    )


def which_standard(quantity: Quantity, candidates: Sequence[str]) -> str:
    """What to say where the signal alone does not tell the bottle."""
    if not candidates:
        known = "a pH buffer" if quantity is Quantity.PH else "a conductivity standard"
        return f"the signal fits none of the bottles known as {known}: name the one it is in, as on its label"
    return f"this may be {' or '.join(candidates)}: read the label and name it"


def point(quantity: Quantity, taken: Point) -> str:
    """What was taken, with the standard's value at its temperature."""
    took = "" if taken.settled_s is None else f", settled after {taken.settled_s:.0f} s"
    if quantity is Quantity.LEVEL:
        return f"{taken.reference:.1%} of the reservoir taken: {taken.signal:.1%} before calibrating{took}"
    if quantity is Quantity.TEMPERATURE:
        return f"{taken.reference:.2f} °C taken: {taken.signal:.2f} °C before calibrating{took}"
    shown = f"{taken.signal:.3f} {UNIT[quantity]} at {taken.temperature_c:.1f} °C ({taken.reference:.3f})"
    return f"{taken.standard} taken: {shown}{took}"


Rows = list[tuple[str, str, str]]


def old_and_new(
    old: Calibration | None, new: Calibration, change: Numbers, doubt_ph: float | None = None
) -> Rows:
    """Rows of what, old, new: the numbers of both, and what the water would have read by each.

    doubt_ph: the standard uncertainty of that, where it is known.
    """
    before = old if type(old) is type(new) else None
    each = [(name, text(before) if before is not None else "–", text(new)) for name, text in _ROWS[type(new)]]
    quantity, shown = _READS[type(new)]
    then = value(quantity, change.get("then"))
    known = [] if doubt_ph is None else [("known within", "–", f"± {2.0 * doubt_ph:.2f} pH (95 %)")]
    return [*each, (f"{shown} would have read", then, value(quantity, change["at"])), *known]


Text = Callable[[Calibration], str]


def _number(key: str, form: str) -> Text:
    return lambda of: form.format(getattr(of, key))


_DAY: tuple[str, Text] = ("made on", lambda of: of.day)
_ROWS: Mapping[type[Calibration], tuple[tuple[str, Text], ...]] = {
    PhCalibration: (
        _DAY,
        ("slope", _number("slope_percent", "{:.1f} %")),
        ("offset", _number("offset_mv", "{:+.1f} mV")),
    ),
    EcCalibration: (
        _DAY,
        ("cell constant", _number("cell_constant_per_cm", "{:.3f} per cm")),
        ("offset", _number("offset_ms", "{:+.4f} mS")),
    ),
    TemperatureCalibration: (_DAY, ("offset", _number("offset_k", "{:+.2f} K"))),
    LevelCalibration: (
        _DAY,
        ("scale", _number("scale", "{:.3f}")),
        ("offset", _number("offset_share", "{:+.1%}")),
    ),
}
_READS: Mapping[type[Calibration], tuple[Quantity, str]] = {
    PhCalibration: (Quantity.PH, "what is pH 5.80 now"),
    EcCalibration: (Quantity.EC, "what is 1.20 mS/cm now"),
    TemperatureCalibration: (Quantity.TEMPERATURE, "what is 20.0 °C now"),
    LevelCalibration: (Quantity.LEVEL, "what is half a reservoir now"),
}


# The history


NOTE: Mapping[ProbeNote, str] = {
    ProbeNote.FINE: "nothing to say against the probe",
    ProbeNote.UNKNOWN: "no calibration is on record",
    ProbeNote.STOP_GAP: "the last one was a stop-gap: calibrate in two buffers",
    ProbeNote.WORN: "little slope is left: clean it, have a new one ready",
    ProbeNote.FAR_OFFSET: "the offset is far from 0: the reference is ageing",
    ProbeNote.SLOW: "it takes long to come to rest: clean it, soak it, have a new one ready",
    ProbeNote.DUE: "due to be calibrated again",
    ProbeNote.EXPIRED: "calibrated too long ago to dose by",
    ProbeNote.FAILS_SOON: "it may fail within two months: have a new one ready",
}
_AGES: Mapping[str, tuple[str, str]] = {
    "slope_percent": ("slope", "%"),
    "offset_mv": ("offset", "mV"),
    "cell_constant_per_cm": ("cell constant", "per cm"),
    "settled_s": ("time to settle", "s"),
}
_SHORT: Mapping[str, str] = {
    "slope_percent": "slope {:.1f} %",
    "offset_mv": "offset {:+.1f} mV",
    "cell_constant_per_cm": "cell constant {:.3f} per cm",
    "offset_ms": "offset {:+.4f} mS",
    "offset_k": "{:+.2f} K",
    "scale": "scale {:.3f}",
    "offset_share": "offset {:+.1%}",
}


def history(past: Past, ahead: Sequence[Forecast], notes: Sequence[ProbeNote]) -> str:
    """Line by line: what was made, what is foretold, what is to be said of the probe."""
    lines = [_made(one) for one in past.made]
    if past.damaged:
        lines.append(f"({past.damaged} more that cannot be read)")
    return "\n".join([*lines, outlook(ahead, notes)])


def outlook(ahead: Sequence[Forecast], notes: Sequence[ProbeNote]) -> str:
    """The last lines of a history: what is foretold, what is to be said of the probe."""
    return "\n".join([*map(_foretold, ahead), "; ".join(NOTE[note] for note in notes)])


def echo(of: Heard) -> str:
    """What our own doses say of the pH electrode, without a buffer."""
    if of.share is None or of.give_or_take is None:
        needed = SKIPPED + FIRST + NEWEST
        return f"by its doses: {of.doses} seen, {needed} are needed to tell whether it answers as it did"
    seen = f"by {of.doses} doses: it shows {of.share:.2f} ± {of.give_or_take:.2f} of what it showed at first"
    return f"{seen}{ECHO[of.note]}. That it lives is sure; a lost slope shows only in a buffer"


ECHO: Mapping[EchoNote, str] = {
    EchoNote.TOO_FEW: "",
    EchoNote.AS_BEFORE: ": as before",
    EchoNote.WEAKER: ": less; look at the bulb first (coated, worn: clean it, a buffer tells), then at the pump "
    "(evenwater calibrate pump), then at the water (better buffered?)",
    EchoNote.STRONGER: ": more; has the water lost its buffering, does the pump give more?",
}


def _made(of: Made) -> str:
    shown = [text.format(of.numbers[key]) for key, text in _SHORT.items() if key in of.numbers]
    took = [] if of.settled_s is None else [f"settled in {of.settled_s:.0f} s"]
    by = f" in {', '.join(of.standards)}" if of.standards else ""
    return f"{of.day}  {', '.join(shown + took)}{by}{' (stop-gap)' if of.stop_gap else ''}"


def _foretold(of: Forecast) -> str:
    name, unit = _AGES[of.key]
    line = f"{name}: {of.per_month:+.2g} ± {of.give_or_take:.2g} {unit} a month, by {of.made} calibrations"
    if of.on is None and of.from_on is None:
        return f"{line}: {of.limit:g} {unit} is not met within two years"
    on = "not within two years by the line itself" if of.on is None else f"about {of.on}"
    earliest = "" if of.from_on is None else f", from {of.from_on}"
    latest = " or later" if of.to_on is None else f" to {of.to_on}"
    return f"{line}: meets {of.limit:g} {unit} {on} (95 %{earliest}{latest})"
