"""What a new calibration changes: the same signal read by the old one and by the new. Pure."""

from __future__ import annotations

from daemon.measure.convert import (
    ISOPOTENTIAL_PH,
    Calibration,
    EcCalibration,
    LevelCalibration,
    PhCalibration,
    TemperatureCalibration,
    nernst_slope_mv_per_ph,
    ph_from_mv,
)
from daemon.values import Numbers

AT_PH = 5.8
AT_MS_PER_CM = 1.2
AT_C = 20.0
AT_SHARE = 0.5


def change(old: Calibration | None, new: Calibration) -> Numbers:
    """What the water that the new one reads as `at` would have read by the old one: `then`.

    at: pH 5.8 (at 20 °C), 1.2 mS/cm, 20 °C or half a reservoir. Without an old calibration, or one of another
    kind, there is only `at`; of temperature and level the uncorrected value is `then`.
    """
    if isinstance(new, PhCalibration):
        return _of_ph(old if isinstance(old, PhCalibration) else None, new)
    if isinstance(new, EcCalibration):
        return _of_ec(old if isinstance(old, EcCalibration) else None, new)
    if isinstance(new, TemperatureCalibration):
        before_k = old.offset_k if isinstance(old, TemperatureCalibration) else 0.0
        return {"at": AT_C, "then": AT_C - new.offset_k + before_k}
    signal = (AT_SHARE - new.offset_share) / new.scale
    was = old if isinstance(old, LevelCalibration) else LevelCalibration(scale=1.0, offset_share=0.0, day=new.day)
    return {"at": AT_SHARE, "then": was.scale * signal + was.offset_share}


def _of_ph(old: PhCalibration | None, new: PhCalibration) -> Numbers:
    slope_mv = nernst_slope_mv_per_ph(AT_C) * new.slope_percent / 100.0
    then = ph_from_mv(new.offset_mv - slope_mv * (AT_PH - ISOPOTENTIAL_PH), old, AT_C)
    return {"at": AT_PH, "then": then} if isinstance(then, float) else {"at": AT_PH}


def _of_ec(old: EcCalibration | None, new: EcCalibration) -> Numbers:
    if old is None:
        return {"at": AT_MS_PER_CM}
    signal_ms = AT_MS_PER_CM / new.cell_constant_per_cm + new.offset_ms
    return {"at": AT_MS_PER_CM, "then": (signal_ms - old.offset_ms) * old.cell_constant_per_cm}
