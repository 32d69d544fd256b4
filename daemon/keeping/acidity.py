"""pH of one reservoir from pass to pass: what to ask for, and whether it worked.

Holds what must be remembered; all deciding is done by the pure rooms. Runs on the loop's thread.
"""

from __future__ import annotations

from dataclasses import replace

from config.pump import MIXING_TIMES
from config.settings import Reservoir as Table
from daemon.dose.answer_file import AnswerFile
from daemon.dose.control import (
    ControlState,
    aim_of,
    ask_ph,
    disturbed,
    expected_shift_ph,
    given,
    taught_little,
    watered,
)
from daemon.dose.doubt_file import Doubts
from daemon.dose.finding import Finding, Surprise
from daemon.dose.learn import FORGET_SHARE
from daemon.dose.response import (
    JUMP_PH,
    Effects,
    dosed,
    doubted,
    forget,
    poured,
    resting,
    since_moved_s,
    step_share,
    watch,
)
from daemon.dose.stages import Targets
from daemon.dose.usual import Usual, margin_ph
from daemon.dose.windows import DAY_S, OPPOSITE, Stamp
from daemon.keeping.instruments import Instruments
from daemon.keeping.record import Record
from daemon.measure.echo import Echo, with_dose
from daemon.values import DoseRequest, Permit, Quantity, Role


class Acidity:
    """The pH of the reservoir `name`.

    aim: where it should be; control: what the controller remembers; echo: how the probe showed the doses.
    """

    def __init__(
        self,
        name: str,
        table: Table,
        instruments: Instruments,
        record: Record,
        answers: AnswerFile,
        *,
        doubts: Doubts,
    ) -> None:
        """doubts: what was in doubt when the program last ended."""
        self.aim = aim_of(table)
        self.control = ControlState(answers=answers.known(name, self.aim.ml_per_ph))
        self._name = name
        self._instruments = instruments
        self._record = record
        self._answers = answers
        self.echo = answers.echo(name)
        self._effects = Effects(unproven=doubts.unproven)
        self._cut_off = doubts.untold  # by the program's end: no rest will tell of it
        self._moved: Finding | None = None  # the newest movement with no dose
        self._strong: Finding | None = None  # the newest of doses that do too much
        self._little: Finding | None = None  # the newest of doses that did little
        self._little_s = 0.0
        self._fresh_share = 0.0  # what the controller knows of
        self._counts_from_s = answers.counts_from_s(name)  # proven: readings before it are another series
        self._compared = False  # with what the newest dose before this start left behind

    @property
    def _mixing_s(self) -> float:
        return MIXING_TIMES * self.aim.mixing_time_s

    def aim_at(self, targets: Targets) -> None:
        """The crop's stage asks for another pH."""
        self.aim = replace(self.aim, target=targets.ph, ph_low=targets.ph_low, ph_high=targets.ph_high)

    def wish(self, now_s: float, last_dose_s: float | None, proven_s: float) -> DoseRequest | None:
        """What to ask for at this pass, if anything.

        now_s, last_dose_s: monotonic; proven_s: now in proven time, by which the answers are kept.
        """
        ph = self._instruments.verdicts.get(Quantity.PH)
        if ph is None:
            return None
        known = self.control.answers
        wish, self.control = ask_ph(self._name, ph, self.aim, self.control, now_s, last_dose_s)
        if self.control.answers is not known:
            self._hear_echo()
            self._keep_answers(proven_s)
        if wish is None:
            return None
        if not self._compared:
            self._compare(wish.numbers["ph"], proven_s)
        return self._smaller(wish)

    def _compare(self, ph: float, proven_s: float) -> None:
        """A step while the program was off was a person's, as of other water: it is nothing that came back."""
        self._compared = True
        last = next(reversed(self._record.acid_and_base()), None)
        if last is not None and last.ph is not None and abs(ph - last.ph - last.shift_ph) >= JUMP_PH:
            self._counts_from_s = proven_s
            self._keep_answers(proven_s)

    def _hear_echo(self) -> None:
        """A dose was judged: what the probe showed of it."""
        if self.control.shown is not None:
            self.echo = with_dose(self.echo, self.control.shown)

    @property
    def resting(self) -> bool:
        """Whether nothing may be dosed until it is told if the newest dose, or doses, did anything."""
        return resting(self._effects)

    @property
    def unproven(self) -> bool:
        """Whether pH made a jump that no dose has proven yet."""
        return self._effects.unproven

    @property
    def untold(self) -> Finding | None:
        """What is about to be found of doses that seem to have done nothing."""
        return self._cut_off or doubted(self._effects)

    def _smaller(self, request: DoseRequest) -> DoseRequest:
        """The request, halved while doses of its pump do too much."""
        share = step_share(self._effects, request.pump)
        if share == 1.0:
            return request
        return replace(request, ml=request.ml * share, numbers={**request.numbers, "step_share": share})

    def usual(self, request: DoseRequest, stamp: Stamp) -> Usual | None:
        """How far pH came back against this pump, and the most that is believed; None where nothing tells."""
        ph = request.numbers.get("ph")
        if request.pump not in OPPOSITE or ph is None:
            return None
        usual = self._record.usual(request.pump, ph, self._counts_from_s, stamp)
        if usual is None:
            return None
        two_agree = self._instruments.two_agree(Quantity.PH)
        more_ph = margin_ph(after_water=self._had_water(stamp.at_s), two_agree=two_agree)
        return replace(usual, most_ph=usual.most_ph + more_ph)

    def _had_water(self, now_s: float) -> bool:
        since = (self._instruments.since_refill_s(now_s), self.since_moved_s(now_s))
        return any(s is not None and s < DAY_S for s in since)

    # what came in

    def follow_water(self, proven_s: float) -> None:
        """Fresh water answers in another way than what was learned."""
        share = self._instruments.fresh_share - self._fresh_share
        if share > 0.0:
            self._fresh_share += share
            if share >= FORGET_SHARE:
                self.echo = Echo()
            self.control = watered(self.aim, self.control, share)
            self._keep_answers(proven_s)

    def calibrated(self, proven_s: float) -> None:
        """The probe was calibrated: how it shows doses is a new series."""
        self.echo = Echo()
        self._counts_from_s = proven_s
        self._keep_answers(proven_s)

    def forget_water(self, proven_s: float) -> None:
        """New water is in: nothing that was learned of the old holds."""
        self._effects, self._cut_off = Effects(), None
        self.control = ControlState()
        self.echo = Echo()
        self._keep_answers(proven_s)

    def _keep_answers(self, proven_s: float) -> None:
        self._answers.keep(self._name, self.control.answers, proven_s, self.echo, self._counts_from_s)

    def dosed(self, allowed: Permit, end_s: float) -> None:
        """A run has ended, at `end_s`: what acid or base should do follows, and nothing does of anything else."""
        pump, ml = allowed.request.pump, allowed.ml
        if pump not in OPPOSITE:
            self.disturbed()
            return
        shift_ph = expected_shift_ph(self.aim, self.control, pump, ml, self._instruments.share_of_water)
        self._effects = dosed(self._effects, pump, ml, shift_ph, end_s)
        self.control = given(self.control, pump, shift_ph, end_s)

    def poured(self, at_s: float) -> None:
        """A person has told of a dose by hand: what moves pH now is known."""
        self._effects, self._cut_off = poured(self._effects, at_s), None
        self._moved = None
        self.control = disturbed(self.control)

    def disturbed(self) -> None:
        """People are at work, or nobody knows what went in: what was being followed says nothing."""
        self._effects, self._cut_off = forget(self._effects), None
        self.control = disturbed(self.control)

    # what it did

    def watch(self, now_s: float, since_any_s: float | None) -> Finding | None:
        """Hold pH against what doses should have done. since_any_s: since any pump of this reservoir last ran."""
        ph = self._instruments.verdicts.get(Quantity.PH)
        if ph is None:
            return None
        if self._cut_off is not None or self._others_mix(now_s, since_any_s):
            untold = self.untold  # and now will not be told
            self.disturbed()
            return untold
        finding, self._effects = watch(self._effects, self.aim, ph)
        if finding is not None and finding.surprise is Surprise.TOO_STRONG:
            self._strong = finding
        elif finding is not None and finding.surprise is Surprise.LITTLE_EFFECT:
            finding = self._learned_little(finding, now_s)
        elif finding is not None:
            self._moved = finding
            self.control = disturbed(self.control)
        return finding

    def _learned_little(self, finding: Finding, now_s: float) -> Finding:
        """The finding, with how many times as well as the settings say this water is buffered."""
        pump, numbers = finding.pump or Role.PH_DOWN, finding.numbers
        ml_per_ph = numbers["ml"] / numbers["seen_ph"] / self._instruments.share_of_water
        self.control = taught_little(self.aim, self.control, pump, ml_per_ph)
        times = ml_per_ph / self.aim.ml_per_ph[pump]
        self._little, self._little_s = replace(finding, numbers={**numbers, "times": times}), now_s
        return self._little

    def _others_mix(self, now_s: float, since_any_s: float | None) -> bool:
        """Whether a stock or water is mixing, which moves pH by as much as it pleases."""
        refill_s = self._instruments.since_refill_s(now_s)
        if refill_s is not None and refill_s < self._mixing_s:
            return True
        if since_any_s is None or since_any_s >= self._mixing_s:
            return False
        return any(entry.pump not in OPPOSITE for entry in self._record.doses(1))

    def since_moved_s(self, now_s: float) -> float | None:
        """Seconds since pH last moved by itself; None if it never did."""
        return since_moved_s(self._effects, now_s)

    def moved(self, now_s: float) -> Finding | None:
        """The newest movement with no dose, for as long as it keeps dosing waiting."""
        since_s = self.since_moved_s(now_s)
        return self._moved if since_s is not None and since_s < self._mixing_s else None

    def little(self, now_s: float) -> Finding | None:
        """The newest of doses that did little, for a day."""
        return self._little if now_s - self._little_s < DAY_S else None

    def too_strong(self) -> Finding | None:
        """The newest of doses that do too much, while its pump is held to smaller ones."""
        strong = self._strong
        if strong is None or strong.pump is None or not step_share(self._effects, strong.pump) < 1.0:
            return None
        return strong
