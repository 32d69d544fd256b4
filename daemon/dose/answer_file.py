"""What the tanks answered, kept in a small file, so that a restart need not learn it again.

    a lesson  ->  answers.json, whole or not at all  ->  the next start, with more doubt

How long the program was off is not always known: each start doubts by a day more than proven time says
(daemon.dose.windows). A file that cannot be read is set aside with a note; what cannot be written is only missed
at the next start. Nothing here lets a dose be larger than the caps: they come from the ledger alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

from daemon.disk import keep_if_may_be, number, recalled
from daemon.dose.learn import FARTHEST, PRIOR_DOUBT, Answer, doubtful
from daemon.dose.windows import DAY_S
from daemon.measure.echo import Echo
from daemon.values import Role

Answers = Mapping[Role, Answer]


@dataclass(frozen=True, slots=True)
class _Kept:
    """Of one reservoir: when, proven; what was learned of its pumps; how its probe showed the doses.

    counts_from_s: since when its readings belong together, proven; by a calibration, or a step while it was off.
    """

    proven_s: float
    answers: Answers
    echo: Echo = field(default_factory=Echo)
    counts_from_s: float = 0.0


class AnswerFile:
    """The answers of all reservoirs at `path`. trouble: why what was kept there is not used, "" where it is."""

    def __init__(self, path: Path, proven_s: float) -> None:
        """proven_s: proven time at this start."""
        self.trouble = ""
        self._begun_s = proven_s
        self._path = path
        self._kept, fault = recalled(path, _read, dict[str, _Kept]())
        if fault is not None:
            self.trouble = f"what the tanks answered cannot be read from {path}, it is learned again ({fault!r})"

    def known(self, reservoir: str, priors: Mapping[Role, float]) -> dict[Role, Answer]:
        """What a reservoir answered before this start, as far as it still holds.

        priors: mL per pH as the settings have it; a pump for which that has changed begins anew.
        """
        kept = self._of(reservoir)
        age_s = max(0.0, self._begun_s - kept.proven_s) + DAY_S
        return {
            role: doubtful(answer, answer.near_ph, age_s)
            for role, answer in kept.answers.items()
            if answer.prior_ml_per_ph == priors.get(role)
        }

    def echo(self, reservoir: str) -> Echo:
        """How its probe showed the doses before this start."""
        return self._of(reservoir).echo

    def counts_from_s(self, reservoir: str) -> float:
        """Since when its readings belong together, in proven s; 0 where nothing tells.

        Nor does what is yet to come by this ledger's time: it was made anew since.
        """
        counts_from_s = self._of(reservoir).counts_from_s
        return counts_from_s if counts_from_s <= self._begun_s else 0.0

    def _of(self, reservoir: str) -> _Kept:
        return self._kept.get(reservoir, _Kept(self._begun_s, {}))

    def keep(
        self, reservoir: str, answers: Answers, proven_s: float, echo: Echo, counts_from_s: float = 0.0
    ) -> None:
        """Write down what a reservoir answers now. Never raises: at worst it is learned again."""
        self._kept[reservoir] = _Kept(proven_s, dict(answers), echo, counts_from_s)
        keep_if_may_be(self._path, _raw(self._kept))


def _raw(kept: Mapping[str, _Kept]) -> dict[str, Any]:
    return {
        name: {
            "proven_s": of.proven_s,
            "pumps": {role.value: asdict(answer) for role, answer in of.answers.items()},
            "echo": asdict(of.echo),
            "counts_from_s": of.counts_from_s,
        }
        for name, of in kept.items()
    }


def _read(raw: Any) -> dict[str, _Kept]:
    """Raises ValueError, TypeError, KeyError or AttributeError where it is not what `_raw` gives."""
    return {
        str(name): _Kept(
            number(table["proven_s"]),
            {Role(role): _answer(**answer) for role, answer in table["pumps"].items()},
            _echo(**table.get("echo", {})),
            _before(number(table["proven_s"]), number(table.get("counts_from_s", 0.0))),
        )
        for name, table in raw.items()
    }


def _before(proven_s: float, counts_from_s: float) -> float:
    """Raises ValueError for what was yet to come when this was written."""
    if not counts_from_s <= proven_s:
        raise ValueError(f"counts from {counts_from_s} s, which was yet to come at {proven_s} s")
    return counts_from_s


def _echo(skipped: Any = 0, first: Any = (), newest: Any = ()) -> Echo:
    """Raises ValueError or TypeError for what no dose can have shown."""
    shares = (tuple(number(share) for share in each) for each in (first, newest))
    echo = Echo(int(number(skipped)), *shares)
    if not all(share > 0.0 for share in (*echo.first, *echo.newest)):
        raise ValueError(f"{echo} cannot have been seen")
    return echo


def _answer(  # noqa: PLR0917 - the fields of Answer
    ml_per_ph: Any, prior_ml_per_ph: Any, doubt: Any, lessons: Any, near_ph: Any, odd: Any
) -> Answer:
    """Raises ValueError or TypeError for what no lesson can have led to."""
    answer = Answer(
        number(ml_per_ph),
        number(prior_ml_per_ph),
        number(doubt),
        int(number(lessons)),
        number(near_ph),
        bool(odd),
    )
    times = answer.ml_per_ph / answer.prior_ml_per_ph if answer.prior_ml_per_ph > 0.0 else 0.0
    if not (1.0 / FARTHEST <= times <= FARTHEST and 0.0 < answer.doubt <= PRIOR_DOUBT and answer.lessons >= 0):
        raise ValueError(f"{answer} cannot have been learned")
    return answer
