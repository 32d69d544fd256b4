"""Which commands are acted on."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from daemon.desk.requests import Origin
from daemon.link.gate import BETWEEN_S, LARGEST, LATELY_S, MANY, NONCE_S, Command, Gate, Ignored, signature

KEY = b"k" * 32


@pytest.fixture
def gate(tmp_path: Path) -> Gate:
    """With one controller that may release, after its first look at the clock."""
    gate = Gate(tmp_path / "commands.json", {"panel": KEY})
    gate.renew(0.0)
    return gate


def written(gate: Gate, **more: Any) -> bytes:
    """A command that is right, but for what is given; None leaves a field out."""
    fields = {"id": "one", "nonce": gate.nonce, "do": "ack", **more}
    return json.dumps({name: value for name, value in fields.items() if value is not None}).encode()


def judged(gate: Gate, now_s: float = 1.0, **more: Any) -> Command | Ignored:
    """What becomes of it, live."""
    return gate.judge(written(gate, **more), now_s, retained=False)


def test_a_right_command_is_acted_on_with_its_parameters(gate: Gate) -> None:
    """And the nonce is another at once."""
    before = gate.nonce
    command = judged(gate, do="shelve", key="bed1-x", hours=2.0)
    assert command == Command("one", "shelve", {"key": "bed1-x", "hours": 2.0}, Origin.VOUCHED)
    assert gate.nonce != before
    assert not gate.counts


@pytest.mark.parametrize(
    "more",
    [
        {"do": "dose"},
        {"do": "clear"},
        {"do": "hold"},
        {"id": None},
        {"id": ""},
        {"id": "a b"},
        {"id": "x" * 65},
        {"nonce": None},
        {"nonce": 7},
        {"keys": "bed1"},
        {"keys": ["x"] * 21},
        {"hours": "2"},
        {"ml": 5},
        {"now": True},
    ],
)
def test_what_is_written_otherwise_is_malformed(gate: Gate, more: dict[str, Any]) -> None:
    """Nothing unknown, no silent conversions."""
    assert judged(gate, **more) is Ignored.MALFORMED


@pytest.mark.parametrize("payload", [b"", b"null", b"[]", b"1e309", b"\xff\xfe", b"{", b"[" * 1000, b'"ack"'])
def test_what_is_no_object_is_malformed(gate: Gate, payload: bytes) -> None:
    """Whatever it is."""
    assert gate.judge(payload, 1.0, retained=False) is Ignored.MALFORMED


@given(st.binary(max_size=2 * LARGEST))
def test_no_bytes_at_all_get_through(payload: bytes) -> None:
    """Without the nonce."""
    gate = Gate(Path("/nowhere/commands.json"), {})
    assert isinstance(gate.judge(payload, 1.0, retained=False), Ignored)


def test_a_retained_or_huge_one_is_not_even_read(gate: Gate) -> None:
    """However right it is."""
    assert gate.judge(written(gate), 1.0, retained=True) is Ignored.RETAINED
    padded = written(gate) + b" " * LARGEST
    assert gate.judge(padded, 1.0, retained=False) is Ignored.TOO_LARGE


def test_a_nonce_serves_once_and_for_a_minute(gate: Gate) -> None:
    """What was right before is late."""
    before = gate.nonce
    gate.renew(NONCE_S - 1.0)
    assert gate.nonce == before
    gate.renew(NONCE_S)
    assert judged(gate, NONCE_S, nonce=before) is Ignored.LATE
    used = gate.nonce
    assert isinstance(judged(gate, NONCE_S), Command)
    assert judged(gate, NONCE_S + BETWEEN_S, nonce=used, id="two") is Ignored.LATE


def test_an_id_serves_once_also_over_a_restart(gate: Gate, tmp_path: Path) -> None:
    """A nonce is guessed by nobody; a copy of the file of ids is not needed either."""
    assert isinstance(judged(gate), Command)
    assert judged(gate, 1.0 + BETWEEN_S) is Ignored.REPLAYED
    again = Gate(tmp_path / "commands.json", {})
    assert judged(again) is Ignored.REPLAYED
    assert isinstance(judged(again, id="two"), Command)


def test_one_in_a_minute(gate: Gate) -> None:
    """Faster ones wait for a person to try again."""
    assert isinstance(judged(gate, 10.0), Command)
    assert judged(gate, 10.0 + BETWEEN_S - 1.0, id="two") is Ignored.TOO_SOON
    assert isinstance(judged(gate, 10.0 + BETWEEN_S, id="two"), Command)


@pytest.mark.parametrize(
    ("controller", "key", "reservoir", "signed"),
    [
        ("panel", KEY, "bed1", True),
        ("panel", b"x" * 32, "bed1", False),
        ("panel", KEY, "bed2", False),
        ("other", KEY, "bed1", False),
        (None, KEY, "bed1", False),
    ],
)
def test_release_is_signed_for_what_it_asks(
    gate: Gate, controller: str | None, key: bytes, reservoir: str, signed: bool
) -> None:
    """By a controller that the settings name, with its key, over just this."""
    mark = signature(key, "one", gate.nonce, "release", reservoir)
    verdict = judged(gate, do="release", reservoir="bed1", controller=controller, signature=mark)
    if signed:
        assert verdict == Command("one", "release", {"reservoir": "bed1"}, Origin.SIGNED)
    else:
        assert verdict is Ignored.UNSIGNED


def test_without_a_signature_or_a_key_nobody_releases(gate: Gate, tmp_path: Path) -> None:
    """As it comes: no controller is named."""
    assert judged(gate, do="release", controller="panel") is Ignored.UNSIGNED
    bare = Gate(tmp_path / "bare.json", {})
    mark = signature(b"", "one", bare.nonce, "release", None)
    assert judged(bare, do="release", controller="panel", signature=mark) is Ignored.UNSIGNED
    assert judged(gate, do="release", controller="panel", signature="ä" * 64) is Ignored.UNSIGNED


def test_many_within_ten_minutes_are_told(gate: Gate) -> None:
    """Counted by reason; long ago does not count."""
    for number in range(MANY):
        assert not gate.many_lately(float(number))
        judged(gate, float(number), nonce="x")
    assert gate.many_lately(float(MANY))
    assert gate.counts == {Ignored.LATE: MANY}
    assert not gate.many_lately(LATELY_S + 1.0)


@pytest.mark.parametrize("text", ["{", "[1]", '{"a": 1}'])
def test_a_damaged_file_of_ids_is_told(tmp_path: Path, text: str) -> None:
    """The nonce alone keeps replays out then."""
    (tmp_path / "commands.json").write_text(text, encoding="utf-8")
    assert "cannot be read" in Gate(tmp_path / "commands.json", {}).trouble
