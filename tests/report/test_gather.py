"""What a report is told from diary, ledger and history."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from daemon.crop.costs import Thing
from daemon.crop.diary import Sown, Transplanted
from daemon.report.facts import Facts, Stay
from daemon.report.gather import gather
from daemon.values import Role
from tests.report.gardens import AIR, DAYS, DIARY, FED, NASTY, NOW, STILL, garden, told
from tests.store.snapshots import MIDNIGHT


def stay_of(facts: Facts) -> Stay:
    """The only one."""
    ((stay,),) = [batch.stays for batch in facts.batches]
    return stay


def test_a_stay_is_from_setting_out_to_the_last_head(facts: Facts) -> None:
    """Both days whole, under the reservoir's own title."""
    stay = stay_of(facts)
    assert (stay.reservoir, stay.title) == ("bed1", "Bed 1")
    assert (stay.begin, stay.end) == (MIDNIGHT, MIDNIGHT + timedelta(days=DAYS))


def test_what_called_is_told_once_with_when_it_began(facts: Facts) -> None:
    """The alarm, and the pause; not that it kept itself."""
    called = {one.key: (one.times, (one.first - MIDNIGHT).days) for one in stay_of(facts).called}
    assert called == {"bed1-ph-probe": (1, AIR), "held": (1, STILL)}


def test_doses_are_summed(facts: Facts) -> None:
    """Five of 4 mL, all of them the batch's; one of 7 mL came when nothing stood there any more."""
    assert stay_of(facts).doses == {Role.PH_DOWN: (5, 20.0)}
    (acid,) = [item for item in facts.batches[0].costs.items if item.thing is Thing.PH_DOWN]
    assert acid.amount == pytest.approx(20.0)
    assert facts.nobodys == {Thing.PH_DOWN: 7.0}


def test_walks_are_those_past_its_places(facts: Facts) -> None:
    """Not one past another bed; and notes are in its diary."""
    (batch,) = facts.batches
    assert [line.event.where for line in batch.walks if hasattr(line.event, "where")] == ["bed1"]
    assert [line.kind for line in batch.diary] == ["sown", "transplanted", "note", "lost", "picked"]


def test_stages_are_those_that_came(facts: Facts) -> None:
    """On the 25th day it was not finishing yet."""
    assert [stage.name for stage in facts.batches[0].stages] == ["germination", "seedling", "leafing"]


def test_a_crop_of_which_no_file_is_left_has_no_stages(tmp_path: Path) -> None:
    """It was grown nevertheless."""
    sown = Sown(batch="a", crop="shiso", variety="red", plugs=3)
    (batch,) = told(garden(tmp_path, with_history=False, entries=[(0, sown)])).batches
    assert (batch.stages, batch.stays) == ((), ())


def test_without_a_history_it_says_so(tmp_path: Path) -> None:
    """No picture, and nothing called that is known of."""
    facts = told(garden(tmp_path, with_history=False))
    assert (stay_of(facts).plots, stay_of(facts).called) == ((), ())
    assert any("nothing is known of what was read" in note for note in facts.notes)


def test_a_batch_that_stands_is_told_until_now(tmp_path: Path) -> None:
    """And not beyond."""
    entries = [(after, event) for after, event in DIARY if isinstance(event, Sown | Transplanted)]
    assert stay_of(told(garden(tmp_path, entries=entries))).end == NOW


def test_one_that_was_never_sown_is_told(kept: Path) -> None:
    """With those that were."""
    with pytest.raises(LookupError, match="batch autumn-1: was never sown; there are: spring-1"):
        gather(kept, FED, ["autumn-1"], NOW)


def test_nothing_is_written(kept: Path) -> None:
    """Diary, ledger and history are as they were."""
    before = {path.name: path.read_bytes() for path in kept.iterdir() if not path.name.endswith(("-shm", "-wal"))}
    told(kept)
    after = {path.name: path.read_bytes() for path in kept.iterdir() if not path.name.endswith(("-shm", "-wal"))}
    assert after == before
    assert NASTY in before["crop-diary.jsonl"].decode().replace('\\"', '"')
