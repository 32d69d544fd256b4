"""`python -m tests.uncertainty`: docs/uncertainty.md, how well pH and EC are known after a calibration.

Each row is drawn many times by Monte Carlo (JCGM 101:2008, Supplement 1 to the GUM): true bottles, a true
electrode and thermometer with their errors, then the product's own fit and conversion. Beside it stands the
linear propagation (JCGM 100:2008, the GUM). The seed is fixed, so that the page is the same each time.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from math import sqrt
from pathlib import Path
from random import Random
from statistics import fmean, pstdev

from daemon.measure.calibrate import Point, fit_ec, fit_ph, fit_stop_gap
from daemon.measure.convert import ISO_7888, PhCalibration, ec25, iso7888_f25, nernst_slope_mv_per_ph, ph_from_mv
from daemon.measure.standards import SHIPPED
from daemon.measure.uncertainty import AT_PH, RECTANGLE, propagated
from daemon.values import Quantity

PAGE = Path(__file__).parent.parent / "docs" / "uncertainty.md"
DRAWS = 20_000
SEED = 20260301
WHEN = datetime(2026, 3, 1, tzinfo=UTC)
BUFFER_PH, STANDARD_SHARE, THERMOMETER_K = 0.02, 0.01, 0.5  # each ±, no more: a rectangle
NOISE_MV, NOISE_SHARE = 0.3, 0.001  # standard deviation of one look
LOOKS = 6  # that make a point
SLOPE_PERCENT, OFFSET_MV, CELL_PER_CM = 97.0, 6.0, 0.98  # of the true probes
AT_MS_PER_CM = 1.2
STOP_GAP_SLOPE_PERCENT = 5.0  # ±, of the slope that is carried over

HEAD = f"""\
# How well a calibrated probe knows

The standard uncertainty of a pH of {AT_PH} and of an EC of {AT_MS_PER_CM} mS/cm, as the calibration leaves
it. Bottles are worth what they say within ± {BUFFER_PH} pH or ± {STANDARD_SHARE:.0%}, the thermometer is
off by up to ± {THERMOMETER_K} K (the same one in the bottle and in the water), a look trembles by
{NOISE_MV} mV or {NOISE_SHARE:.1%}, and a point is the mean of {LOOKS} looks. *Drawn* is a Monte Carlo of
{DRAWS:,} calibrations through the program's own fit and conversion (JCGM 101:2008), *reckoned* the linear
propagation (JCGM 100:2008, the GUM). Twice the standard uncertainty holds some 95 of 100 probes. What is
not in it: an electrode that is not straight, a bottle gone bad, and all that happens to a probe afterwards.

This page is made by `python -m tests.uncertainty`; `make bench` shows its first row.

| calibrated in | bottle | water | drawn | reckoned | mean error |
|---|---|---|---|---|---|
"""
TAIL = """
What to take from it: two buffers leave hardly more doubt than the bottles themselves have. 7.00 and 4.01 lie on
both sides of the water, so their errors are averaged; 7.00 and 10.01 lie on one side, and theirs are drawn out.
A third buffer outside adds little at 5.8, but it finds a bottle that is not what it says. A stop-gap is several
times worse, by the slope that it cannot know; and no number here tells that its bulb may be dead. The
thermometer's error all but cancels, since it is the same in the bottle and in the water; a bottle read with
another thermometer has no such luck.
"""

Errors = Sequence[float]


@dataclass(frozen=True, slots=True)
class Case:
    """One row: bottles, their and the water's temperature, what is read of errors, and their distributions.

    rectangles: half-widths; normals: standard deviations. `read` takes the errors in that order.
    """

    names: tuple[str, ...]
    unit: str
    bottle_c: float
    water_c: float
    truth: float
    read: Callable[[Errors], float]
    rectangles: tuple[float, ...]
    normals: tuple[float, ...]
    note: str = ""

    def drawn(self, draws: int, seed: int) -> tuple[float, float]:
        """Standard deviation and mean of the errors of as many calibrations."""
        draw = Random(seed)
        results = [
            self.read(
                [*(draw.uniform(-a, a) for a in self.rectangles), *(draw.gauss(0.0, s) for s in self.normals)]
            )
            for _ in range(draws)
        ]
        return pstdev(results), fmean(results) - self.truth

    def reckoned(self) -> float:
        """The standard uncertainty by linear propagation."""
        return propagated(self.read, [*(a / RECTANGLE for a in self.rectangles), *self.normals])


def ph_case(names: Sequence[str], bottle_c: float = 22.0, water_c: float = 22.0) -> Case:
    """pH after these buffers; one alone is a stop-gap. Errors: thermometer, slope, buffers; reading, points."""
    gap = len(names) == 1
    rectangles = (THERMOMETER_K, STOP_GAP_SLOPE_PERCENT if gap else 0.0, *[BUFFER_PH] * len(names))
    normals = (NOISE_MV, *[NOISE_MV / sqrt(LOOKS)] * len(names))
    read = partial(_read_ph, names, bottle_c, water_c)
    note = " (stop-gap)" if gap else ""
    return Case(tuple(names), "pH", bottle_c, water_c, AT_PH, read, rectangles, normals, note)


def _read_ph(names: Sequence[str], bottle_c: float, water_c: float, errors: Errors) -> float:
    count = len(names)
    off_k, slope_off, buffers, reading_mv, noises = (
        errors[0],
        errors[1],
        errors[2 : 2 + count],
        errors[2 + count],
        errors[3 + count :],
    )
    points = [
        _point(
            Quantity.PH,
            name,
            _electrode_mv(SHIPPED.value(Quantity.PH, name, bottle_c) + off_ph, bottle_c) + noise_mv,
            bottle_c + off_k,
        )
        for name, off_ph, noise_mv in zip(names, buffers, noises, strict=True)
    ]
    before = PhCalibration(slope_percent=SLOPE_PERCENT + slope_off, offset_mv=0.0, day="2026-03-01")
    calibration = (fit_stop_gap(points, before) if count == 1 else fit_ph(points)).calibration
    ph = ph_from_mv(_electrode_mv(AT_PH, water_c) + reading_mv, calibration, water_c + off_k)
    assert isinstance(ph, float)
    return ph


def _electrode_mv(ph: float, at_c: float) -> float:
    return OFFSET_MV - nernst_slope_mv_per_ph(at_c) * SLOPE_PERCENT / 100.0 * (ph - 7.0)


def ec_case(names: Sequence[str], bottle_c: float = 22.0, water_c: float = 22.0) -> Case:
    """EC after these standards. Errors: thermometer, standards; reading, points."""
    rectangles = (THERMOMETER_K, *[STANDARD_SHARE] * len(names))
    normals = (NOISE_SHARE, *[NOISE_SHARE / sqrt(LOOKS)] * len(names))
    read = partial(_read_ec, names, bottle_c, water_c)
    return Case(tuple(names), "mS/cm", bottle_c, water_c, AT_MS_PER_CM, read, rectangles, normals)


def _read_ec(names: Sequence[str], bottle_c: float, water_c: float, errors: Errors) -> float:
    count = len(names)
    off_k, shares, reading, noises = errors[0], errors[1 : 1 + count], errors[1 + count], errors[2 + count :]
    points = [
        _point(
            Quantity.EC,
            name,
            SHIPPED.value(Quantity.EC, name, bottle_c) * (1.0 + share) / CELL_PER_CM * (1.0 + noise),
            bottle_c + off_k,
        )
        for name, share, noise in zip(names, shares, noises, strict=True)
    ]
    factor = iso7888_f25(water_c)
    assert isinstance(factor, float)
    signal_ms = AT_MS_PER_CM / factor / CELL_PER_CM * (1.0 + reading)
    read = ec25(signal_ms, fit_ec(points).calibration, water_c + off_k, ISO_7888)
    assert isinstance(read, float)
    return read


def _point(quantity: Quantity, name: str, signal: float, believed_c: float) -> Point:
    return Point(name, SHIPPED.value(quantity, name, believed_c), signal, 0.0, believed_c, WHEN)


CASES: tuple[Case, ...] = (
    ph_case(("7.00", "4.01")),
    ph_case(("7.00", "4.01"), 25.0, 17.0),
    ph_case(("7.00", "4.01", "10.01")),
    ph_case(("6.86", "4.01")),
    ph_case(("7.00", "10.01")),
    ph_case(("7.00",)),
    ph_case(("4.01",)),
    ec_case(("1.413",)),
    ec_case(("1.413",), 25.0, 17.0),
    ec_case(("1.413", "2.765")),
)


def rows(draws: int = DRAWS) -> Iterator[str]:
    """The table's rows."""
    for case in CASES:
        drawn, mean_error = case.drawn(draws, SEED)
        yield (
            f"| {', '.join(case.names)}{case.note} | {case.bottle_c:g} °C | {case.water_c:g} °C | "
            f"{drawn:.4f} {case.unit} | {case.reckoned():.4f} {case.unit} | {mean_error:+.4f} |"
        )


def main() -> int:
    """Write the page."""
    PAGE.write_text(HEAD + "\n".join(rows()) + "\n" + TAIL, encoding="utf-8")
    print(f"written: docs/{PAGE.name}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
