"""The list of mutants: it fits the code as it stands, and leaves no cap and no reason out. They run elsewhere."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from enum import StrEnum
from functools import cache
from pathlib import Path
from subprocess import CalledProcessError

import pytest

from config import pump
from daemon.dose.finding import Surprise
from daemon.measure.calibrate import FitReason
from daemon.measure.rate import RateReason
from daemon.values import Cap, RateStanding, VerdictReason
from tests.mutants.__main__ import main
from tests.mutants.listed import MUTANTS
from tests.mutants.mutant import Mutant, StaleError
from tests.mutants.trial import Verdict, copy_tree, forking, tried

TOP = Path(__file__).parents[1]
REMOVED = {(type(reason), reason) for mutant in MUTANTS for reason in mutant.removes}
NOTHING_AMISS = (VerdictReason.FINE, FitReason.FINE, RateReason.FINE, RateStanding.DATED)


@cache
def text_of(file: str) -> str:
    """A file of the project."""
    return (TOP / file).read_text(encoding="utf-8")


def test_every_text_to_find_stands_once() -> None:
    """Whoever changes a protection brings its entry along."""
    for mutant in MUTANTS:
        assert mutant.applied_to(text_of(mutant.file)) != text_of(mutant.file), mutant.name


def test_every_test_named_is_there() -> None:
    """Each part of `file::Class::test`."""
    for mutant in MUTANTS:
        assert mutant.tests, mutant.name
        for test in mutant.tests:
            file, *names = test.split("::")
            for name in names:
                assert re.search(rf"^\s*(?:def|class) {name}\b", text_of(file), re.MULTILINE), (mutant.name, test)


def test_every_name_is_given_once() -> None:
    """So that --only and the report mean one."""
    assert [name for name, count in Counter(mutant.name for mutant in MUTANTS).items() if count > 1] == []


@pytest.mark.parametrize("reasons", [Cap, VerdictReason, FitReason, Surprise, RateReason, RateStanding])
def test_no_reason_is_left_out(reasons: type[StrEnum]) -> None:
    """For everything that may refuse, stop or warn there is a mutant that takes it out."""
    left_out = [one for one in reasons if (reasons, one) not in REMOVED and one not in NOTHING_AMISS]
    assert left_out == []


def test_no_limit_of_the_code_is_left_out() -> None:
    """Each constant that no setting can raise is made larger in turn, or smaller where it is a gap."""
    found = {name for mutant in MUTANTS for name in re.findall(r"(HARD_\w+) = ", mutant.find)}
    assert found == {name for name in vars(pump) if name.startswith("HARD_")}


def test_a_text_that_stands_not_once_is_stale() -> None:
    """The message names the entry and the file."""
    mutant = Mutant("gap", "permit.py", "GAP", "", ())
    assert mutant.applied_to("a GAP b") == "a  b"
    for text in ("", "GAP GAP"):
        with pytest.raises(StaleError, match=r"gap: .* in permit\.py, must be once"):
            mutant.applied_to(text)


def test_a_trial_tells_what_is_noticed_from_what_is_not(tmp_path: Path) -> None:
    """In a copy that is whole again afterwards; a text or a test that is not there is told."""
    try:
        copy_tree(tmp_path)
    except CalledProcessError:
        pytest.skip("not a git checkout")
    file, tests = "daemon/dose/permit.py", ("tests/dose/test_permit.py::TestWait",)
    gap = next(mutant for mutant in MUTANTS if mutant.name == "permit gap")
    cases = {
        Verdict.KILLED: replace(gap, tests=tests),
        Verdict.SURVIVED: Mutant("a word", file, "# of the nominal volume", "", tests),
        Verdict.STALE: Mutant("gone", file, "no such text", "", tests),
        Verdict.NOT_RUN: replace(gap, tests=("tests/dose/test_permit.py::no_such_test",)),
    }
    context = forking()
    assert {wanted: tried(context, tmp_path, mutant, 60.0).verdict for wanted, mutant in cases.items()} == {
        wanted: wanted for wanted in cases
    }
    assert (tmp_path / file).read_text(encoding="utf-8") == text_of(file)


def test_list_names_them(capsys: pytest.CaptureFixture[str]) -> None:
    """With --only, those that have it in their name; a name that none has is an error."""
    assert main(["--list", "--only", "keeper lease"]) == 0
    assert [line.split()[:2] for line in capsys.readouterr().out.splitlines()] == [["keeper", "lease"]] * 2
    assert main(["--list", "--only", "no such thing"]) == 2
