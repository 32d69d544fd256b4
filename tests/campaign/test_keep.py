"""Months kept in a file: what is added is there the next time, and only months of the same code are."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import fields, replace
from pathlib import Path

import pytest

from tests.campaign import keep
from tests.campaign.keep import KeepError, Kept, fingerprint, month_of, plain
from tests.campaign.report import Month

FULL = Month(
    seed=7,
    hours=720.0,
    healthy_hours=300.5,
    in_band_hours=299.0,
    faults=Counter(pump_dead=2),
    happened=Counter(kill=3),
    doses=12,
    worst_day_share=0.75,
    violations=("a",),
    excursion_ph=0.1,
    poured_ph=0.2,
    wrong_doses=3,
    beyond_first=("b",),
    beyond_by=Counter(probe_stuck=1),
    locks=("c", "d"),
    false_latches=("e",),
    hand_latches=("f",),
    missed=("g",),
    unseen=Counter(pump_fast=1),
    delays_s=(("probe_stuck", 60.0), ("pump_dead", 7.5)),
    stopped="h",
    ph_probes=2,
)


def test_a_month_comes_back_from_a_line_of_text_as_it_was() -> None:
    """Every field but the story, none of them left at its default here."""
    unset = [
        field.name for field in fields(Month) if getattr(FULL, field.name) == getattr(Month(0, 0.0), field.name)
    ]
    assert unset == ["story"]
    assert month_of(json.loads(json.dumps(plain(replace(FULL, story=("long",)))))) == FULL


def test_what_was_added_is_there_the_next_time(tmp_path: Path) -> None:
    """In a file that the first one made; the second adds to it."""
    path = tmp_path / "months"
    with Kept(path, 30.0) as kept:
        kept.add(FULL)
    with Kept(path, 30.0) as kept:
        assert kept.months == {7: FULL}
        kept.add(replace(FULL, seed=8))
    with Kept(path, 30.0) as kept:
        assert sorted(kept.months) == [7, 8]


def test_a_month_whose_writing_was_cut_off_is_lived_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Wherever it was cut, what stands before it is kept and what comes after it is whole."""
    code = fingerprint()
    monkeypatch.setattr(keep, "fingerprint", lambda: code)  # read once: the file is opened at each of its bytes
    path = tmp_path / "months"
    with Kept(path, 30.0) as kept:
        kept.add(FULL)
        kept.add(replace(FULL, seed=8))
    whole = path.read_bytes()
    first = whole.index(b"\n") + 1
    for cut in range(first, len(whole)):
        path.write_bytes(whole[:cut])
        with Kept(path, 30.0) as kept:
            assert sorted(kept.months) == [7]
    with Kept(path, 30.0) as kept:
        kept.add(replace(FULL, seed=9))
    with Kept(path, 30.0) as kept:
        assert sorted(kept.months) == [7, 9]


def test_months_of_other_code_or_length_are_refused_and_left_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the file, the line, both names and what to do."""
    path = tmp_path / "months"
    with Kept(path, 30.0) as kept:
        kept.add(FULL)
    before = path.read_bytes()
    with pytest.raises(
        KeepError, match=r"months, line 1 is of code .* and 30.0 days, .* and 2.0 days: .* another file"
    ):
        Kept(path, 2.0)
    monkeypatch.setattr(keep, "fingerprint", lambda: "other")
    with pytest.raises(KeepError, match=r"not of this code \(other\)"):
        Kept(path, 30.0)
    assert path.read_bytes() == before


@pytest.mark.parametrize("line", ["# notes", "[]", "{}", '{"code": 1}', "3"])
def test_a_file_of_something_else_is_refused_and_left_alone(tmp_path: Path, line: str) -> None:
    """It may be dear to somebody."""
    path = tmp_path / "notes"
    path.write_text(line + "\n")
    with pytest.raises(KeepError, match="line 1 is not a month"):
        Kept(path, 30.0)
    assert path.read_text() == line + "\n"


def test_two_campaigns_do_not_write_to_one_file(tmp_path: Path) -> None:
    """The second is told; once the first is over it may."""
    with Kept(tmp_path / "months", 30.0), pytest.raises(KeepError, match="in use by another campaign"):
        Kept(tmp_path / "months", 30.0)
    Kept(tmp_path / "months", 30.0).__exit__()


def test_any_change_of_what_a_month_is_made_of_gives_another_fingerprint(tmp_path: Path) -> None:
    """Of the program, the bench, the campaign or the libraries; not of a test, or of a grower's settings."""
    for name in ("daemon/dose/permit.py", "sim_hw/tank.py", "tests/campaign/score.py", "requirements.lock"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("a = 1\n")
    seen = {fingerprint(tmp_path)}
    for name in ("daemon/dose/permit.py", "sim_hw/tank.py", "tests/campaign/score.py", "requirements.lock"):
        (tmp_path / name).write_text("a = 2\n")
        seen.add(fingerprint(tmp_path))
    assert len(seen) == 5
    (tmp_path / "config").mkdir()
    for name in ("tests/campaign/test_score.py", "config/site.toml", "daemon/notes.txt"):
        (tmp_path / name).write_text("a = 3\n")
    assert fingerprint(tmp_path) in seen
    assert fingerprint() == fingerprint()
