"""A small file is replaced whole, or not at all; and read whatever it holds."""

from __future__ import annotations

from pathlib import Path

import pytest

from daemon.disk import keep_if_may_be, recalled, write_whole


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


def test_what_was_kept_is_recalled(tmp_path: Path) -> None:
    """As it was made; without a file there is nothing, and nothing wrong."""
    file = tmp_path / "kept.json"
    assert recalled(file, dict, {"none": 0}) == ({"none": 0}, None)
    keep_if_may_be(file, {"a": 1})
    assert recalled(file, dict, {}) == ({"a": 1}, None)


@pytest.mark.parametrize("content", [b"", b"{", b"[1]", b"null", b"\xff", b'{"b": 1}'])
def test_a_file_that_is_not_as_written_gives_nothing_and_says_so(tmp_path: Path, content: bytes) -> None:
    """Whatever a torn or foreign file holds, it ends no start."""
    file = tmp_path / "kept.json"
    file.write_bytes(content)
    found, fault = recalled(file, lambda raw: {"a": raw["a"]}, dict[str, int]())
    assert found == {}
    assert fault is not None


def test_what_cannot_be_kept_leaves_what_stood_there(tmp_path: Path) -> None:
    """No number that JSON has no word for; the next start recalls the one before."""
    file = tmp_path / "kept.json"
    keep_if_may_be(file, {"a": 1})
    keep_if_may_be(file, {"a": float("nan")})
    assert recalled(file, dict, {}) == ({"a": 1}, None)
