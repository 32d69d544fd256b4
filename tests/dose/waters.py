"""Water with a probe in it, for what doses do."""

from __future__ import annotations

from math import exp
from random import Random

from config.pump import Pump
from config.settings import Bands, PhControl, Reservoir
from daemon.dose.control import PhAim, aim_of
from daemon.dose.finding import Finding, Surprise
from daemon.dose.newest import READINGS
from daemon.dose.response import Effects, dosed, doubted, watch
from daemon.values import Quality, Quantity, Reading, Role, Sample, Verdict, VerdictReason

PASS_S = 10.0
MIXING_S = 120.0
ML_PER_PH = 60.0


def aim(mixing_time_s: float = MIXING_S, pumps: tuple[str, ...] = ("ph_down", "ph_up")) -> PhAim:
    """The aim of a 60 L tank."""
    pump = Pump(line=17, ml_per_s=1.0, bottle_ml=1000.0)
    return aim_of(
        Reservoir(
            title="Bed",
            system="still",
            volume_l=60.0,
            mixing_time_s=mixing_time_s,
            bands=Bands(),
            ph=PhControl(ml_per_ph=ML_PER_PH),
            pump=dict.fromkeys(pumps, pump),  # type: ignore[arg-type]
        )
    )


def verdict(at_s: float, ph: float, reason: VerdictReason = VerdictReason.FINE) -> Verdict:
    """A pH reading as judged; every reason but FINE is bad."""
    quality = Quality.GOOD if reason is VerdictReason.FINE else Quality.BAD
    reading = Reading(Quantity.PH, ph, at_s, Sample(Quantity.PH, at_s, 0.0))
    return Verdict(Quantity.PH, quality, reason, reading)


class Water:
    """Water and a probe in it: doses mix in exponentially, `drift_per_h` goes on all the time.

    works: how much of the expected shift a dose truly brings.
    """

    def __init__(
        self,
        *,
        works: float = 1.0,
        drift_per_h: float = 0.0,
        noise: float = 0.003,
        seed: int = 1,
        mixing_s: float = MIXING_S,
        every_s: float = PASS_S,
    ) -> None:
        self.works, self.drift_per_h, self.every_s = works, drift_per_h, every_s
        self.ph, self.unmixed = 7.0, 0.0
        self.reason = VerdictReason.FINE
        self.at_s = 1000.0
        self.aim = aim(mixing_s)
        self.effects = Effects()
        self.findings: list[Finding] = []
        self.found_s: list[float] = []
        self._mixing_s, self._noise, self._random = mixing_s, noise, Random(seed)

    def passes(self, seconds: float) -> list[Finding]:
        """Let time pass; what was found in it."""
        before = len(self.findings)
        for _ in range(round(seconds / self.every_s)):
            self.at_s += self.every_s
            self.ph += self.drift_per_h * self.every_s / 3600.0
            mixed = self.unmixed * (1.0 - exp(-3.0 * self.every_s / self._mixing_s))
            self.ph, self.unmixed = self.ph + mixed, self.unmixed - mixed
            seen = verdict(self.at_s, self.ph + self._random.gauss(0.0, self._noise), self.reason)
            finding, self.effects = watch(self.effects, self.aim, seen)
            if finding is not None:
                self.findings.append(finding)
                self.found_s.append(self.at_s)
        return self.findings[before:]

    def dose(self, ml: float = 8.0, pump: Role = Role.PH_DOWN) -> list[Finding]:
        """A dose and its mixing; what was found."""
        self._give(ml, pump)
        return self.passes(3.0 * self._mixing_s + READINGS * self.every_s) + self._until_told()

    def dose_at_once(self, ml: float) -> list[Finding]:
        """A dose of acid and its mixing, not a pass longer, as where the next is due by then; what was found."""
        self._give(ml, Role.PH_DOWN)
        return self._until_told()

    def _give(self, ml: float, pump: Role) -> None:
        shift = ml / ML_PER_PH * (-1.0 if pump is Role.PH_DOWN else 1.0)
        self.effects = dosed(self.effects, pump, ml, shift, self.at_s)
        self.unmixed += shift * self.works

    def _until_told(self) -> list[Finding]:
        found: list[Finding] = []
        while self.effects.pending is not None or doubted(self.effects) is not None:
            found += self.passes(self.every_s)
        return found

    def doses_until(self, surprise: Surprise, ml: float = 8.0, most: int = 20) -> int:
        """How many doses it takes until this is found; one more than `most` where it is not."""
        for count in range(1, most + 1):
            if any(finding.surprise is surprise for finding in self.dose(ml)):
                return count
        return most + 1


def kinds(findings: list[Finding]) -> set[Surprise]:
    """What was found, without the numbers."""
    return {finding.surprise for finding in findings}
