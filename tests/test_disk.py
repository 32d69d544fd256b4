"""A small file is replaced whole, or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.disk import write_whole


def test_a_text_takes_the_place_of_another(tmp_path: Path) -> None:
    """And nothing is left beside it."""
    file = tmp_path / "kept.json"
    write_whole(file, "old")
    write_whole(file, "new")
    assert file.read_text() == "new"
    assert list(tmp_path.iterdir()) == [file]


def test_what_fails_leaves_what_stood_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A full disk half way: the old text, and nothing beside it."""

    def full(_path: Path) -> None:
        raise OSError("no space left on device")

    file = tmp_path / "kept.json"
    write_whole(file, "old")
    monkeypatch.setattr("daemon.disk.sync", full)
    with pytest.raises(OSError, match="no space"):
        write_whole(file, "new")
    assert file.read_text() == "old"
    assert list(tmp_path.iterdir()) == [file]
