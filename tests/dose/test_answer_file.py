"""What the tanks answered, from one start to the next."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from daemon.dose.answer_file import AnswerFile
from daemon.dose.learn import PRIOR_DOUBT, Answer, doubtful, prior
from daemon.dose.windows import DAY_S
from daemon.measure.echo import Echo
from daemon.values import Role

KNOWN = Answer(ml_per_ph=20.0, prior_ml_per_ph=60.0, doubt=0.1, lessons=12, near_ph=6.05)
PRIORS = {Role.PH_DOWN: 60.0, Role.PH_UP: 60.0}
ECHO = Echo(8, (1.0, 1.1), (0.9,))


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A file in which bed1 is known."""
    AnswerFile(tmp_path / "answers.json", 0.0).keep("bed1", {Role.PH_DOWN: KNOWN}, 1000.0, ECHO)
    return tmp_path / "answers.json"


def test_a_start_knows_what_was_learned_with_more_doubt(path: Path) -> None:
    """The same mL per pH and lessons; a day's doubt more, as nobody knows how long it was off."""
    (answer,) = AnswerFile(path, 1000.0).known("bed1", PRIORS).values()
    assert answer == doubtful(KNOWN, KNOWN.near_ph, DAY_S)
    assert (answer.ml_per_ph, answer.lessons) == (20.0, 12)
    assert KNOWN.doubt < answer.doubt < PRIOR_DOUBT


def test_proven_time_adds_doubt(path: Path) -> None:
    """Ten proven days later the same holds less; a proven time before it counts as none."""
    now, later, before = (AnswerFile(path, s).known("bed1", PRIORS)[Role.PH_DOWN] for s in (1e3, 10 * DAY_S, 0.0))
    assert later.doubt > now.doubt
    assert before == now


def test_another_guess_in_the_settings_makes_a_new_beginning(path: Path) -> None:
    """Somebody measured, or changed the bottle: what was learned of that pump is left."""
    assert AnswerFile(path, 1000.0).known("bed1", {Role.PH_DOWN: 30.0}) == {}
    assert AnswerFile(path, 1000.0).known("bed2", PRIORS) == {}


def test_each_reservoir_keeps_its_own(path: Path) -> None:
    """What is written of one leaves the other."""
    other = replace(KNOWN, ml_per_ph=7.0)
    AnswerFile(path, 0.0).keep("bed2", {Role.PH_UP: other}, 2000.0, ECHO)
    kept = AnswerFile(path, 1000.0)
    assert kept.trouble == ""
    assert kept.known("bed1", PRIORS)[Role.PH_DOWN].ml_per_ph == 20.0
    assert kept.known("bed2", PRIORS)[Role.PH_UP].ml_per_ph == 7.0


def test_no_file_is_no_trouble(tmp_path: Path) -> None:
    """The first start knows nothing."""
    kept = AnswerFile(tmp_path / "answers.json", 0.0)
    assert (kept.trouble, kept.known("bed1", PRIORS)) == ("", {})


def changed(**changes: Any) -> str:
    """The file with something else in the answer."""
    answer = {**{name: getattr(KNOWN, name) for name in KNOWN.__slots__}, **changes}
    return json.dumps({"bed1": {"proven_s": 0.0, "pumps": {"ph_down": answer}}})


@pytest.mark.parametrize(
    "text",
    [
        "",
        "[1]",
        '{"bed1": {}}',
        '{"bed1": {"proven_s": 0, "pumps": {"bleach": {}}}}',
        '{"bed1": {"proven_s": NaN, "pumps": {}}}',
        changed(ml_per_ph=0.001),
        changed(ml_per_ph=20000.0),
        changed(ml_per_ph=float("nan")),
        changed(near_ph=float("nan")),
        changed(prior_ml_per_ph=-60.0),
        changed(doubt=0.0),
        changed(doubt=5.0),
        changed(lessons=-1),
        changed(more=1.0),
        changed()[:-9],
        '{"bed1": {"proven_s": 5.0, "pumps": {}, "counts_from_s": 6.0}}',
    ],
)
def test_a_damaged_file_is_left_with_a_note(path: Path, text: str) -> None:
    """Nothing of it is used, the note names it, and the next lesson is kept again."""
    path.write_text(text)
    kept = AnswerFile(path, 1000.0)
    assert str(path) in kept.trouble
    assert kept.known("bed1", PRIORS) == {}
    kept.keep("bed1", {Role.PH_DOWN: KNOWN}, 1000.0, ECHO)
    assert AnswerFile(path, 1000.0).trouble == ""


def test_what_cannot_be_written_is_learned_again(path: Path) -> None:
    """A folder that is gone: nothing is raised, and this run still knows."""
    kept = AnswerFile(path.parent / "gone" / "answers.json", 0.0)
    kept.keep("bed1", {Role.PH_DOWN: KNOWN}, 1000.0, ECHO)
    assert kept.known("bed1", PRIORS)[Role.PH_DOWN].ml_per_ph == 20.0


def test_a_guess_is_kept_as_one(path: Path) -> None:
    """A pump that has taught nothing yet stays a guess."""
    AnswerFile(path, 0.0).keep("bed1", {Role.PH_UP: prior(60.0)}, 0.0, ECHO)
    assert AnswerFile(path, 1000.0).known("bed1", PRIORS) == {Role.PH_UP: prior(60.0)}


def test_how_the_probe_showed_the_doses_is_kept(path: Path) -> None:
    """Beside it; a file of before there was such a thing has none."""
    assert AnswerFile(path, 0.0).echo("bed1") == ECHO
    assert AnswerFile(path, 0.0).echo("bed2") == Echo()
    raw = json.loads(path.read_text(encoding="utf-8"))
    del raw["bed1"]["echo"]
    path.write_text(json.dumps(raw), encoding="utf-8")
    old = AnswerFile(path, 0.0)
    assert (old.trouble, old.echo("bed1")) == ("", Echo())


def test_when_the_probe_was_calibrated_is_kept(path: Path) -> None:
    """A restart on the same day still knows of the step; a ledger made anew counts from its beginning."""
    assert AnswerFile(path, 1000.0).counts_from_s("bed1") == 0.0
    AnswerFile(path, 1000.0).keep("bed1", {}, 1000.0, ECHO, 900.0)
    assert AnswerFile(path, 1100.0).counts_from_s("bed1") == 900.0
    assert AnswerFile(path, 800.0).counts_from_s("bed1") == 0.0
    assert AnswerFile(path, 1100.0).counts_from_s("bed2") == 0.0
