"""The file of passwords: kept as keys, for its owner, and never half believed."""

from __future__ import annotations

import hmac
import json
from pathlib import Path
from typing import Any

import pytest

from daemon.page.passwords import FILE, SHORTEST, Key, Keys, PasswordError, PasswordFile, key_of, made, place_of
from daemon.page.views.forms import LONGEST
from daemon.page.visitor import Rank
from tests.page.browser import GUESTS, HOLDERS, cheap


def test_scrypt_is_that_of_its_standard() -> None:
    """RFC 7914, section 12: the third of its test vectors, of which ours takes the first 32 bytes."""
    found = made("pleaseletmein", b"SodiumChloride", 16384, 8, 1)
    assert found.hex() == "7023bdcb3afd7348461c06cd81fd38ebfda8fbba904f8e3ea9b543f6545da1f2"


def test_what_is_kept_tells_the_right_from_the_wrong() -> None:
    """And two of the same password are not alike."""
    key = key_of("wet hands, dry phone")
    assert key.is_of("wet hands, dry phone")
    assert not key.is_of("wet hands, dry phonf")
    assert key != key_of("wet hands, dry phone")


def test_a_password_is_the_same_from_every_keyboard() -> None:
    """ü is one character or two, by the phone that sends it."""
    assert cheap("grünes Wasser").is_of("gru\u0308nes Wasser")


@pytest.mark.parametrize("length", [0, SHORTEST - 1, LONGEST + 1])
def test_a_password_too_short_or_too_long_is_refused(length: int) -> None:
    """With what is allowed."""
    with pytest.raises(PasswordError, match=f"must have {SHORTEST} to {LONGEST}"):
        key_of("x" * length)


def test_the_file_is_its_owners_and_holds_no_password(tmp_path: Path) -> None:
    """Whoever copies it has still to guess."""
    file = PasswordFile(tmp_path / FILE)
    assert file.keys() == Keys()
    file.set(Rank.HOLDER, cheap(HOLDERS))
    file.set(Rank.GUEST, cheap(GUESTS))
    assert file.path.stat().st_mode & 0o777 == 0o600
    text = file.path.read_text()
    assert (HOLDERS in text, GUESTS in text) == (False, False)
    again = PasswordFile(tmp_path / FILE).keys()
    assert (again.rank_of(HOLDERS), again.rank_of(GUESTS), again.rank_of("x")) == (Rank.HOLDER, Rank.GUEST, None)
    file.set(Rank.GUEST, None)
    assert PasswordFile(tmp_path / FILE).keys() == Keys(cheap(HOLDERS))


def test_a_file_that_changes_is_read_anew(tmp_path: Path) -> None:
    """By the page that runs already."""
    one, other = PasswordFile(tmp_path / FILE), PasswordFile(tmp_path / FILE)
    assert one.keys().holder is None
    other.set(Rank.HOLDER, cheap(HOLDERS))
    assert one.keys().holder == cheap(HOLDERS)


SOUND: dict[str, Any] = {"salt": "00" * 16, "key": "00" * 32, "n": 16384, "r": 8, "p": 1}


@pytest.mark.parametrize(
    "text",
    [
        "{",
        "[]",
        "7",
        '"x"',
        json.dumps({"owner": SOUND}),
        json.dumps({"holder": SOUND | {"n": 2}}),
        json.dumps({"holder": SOUND | {"n": 2**20}}),
        json.dumps({"holder": SOUND | {"n": 16385}}),
        json.dumps({"holder": SOUND | {"p": 10**6}}),
        json.dumps({"holder": SOUND | {"r": "8"}}),
        json.dumps({"holder": SOUND | {"salt": ""}}),
        json.dumps({"holder": SOUND | {"key": "00"}}),
        json.dumps({"holder": SOUND | {"key": "zz" * 32}}),
        json.dumps({"holder": SOUND | {"more": 1}}),
        json.dumps({"holder": None}),
    ],
)
def test_a_spoiled_file_is_no_password_and_not_none(tmp_path: Path, text: str) -> None:
    """Nobody is let in by it, and it does not count as if none were set."""
    file = PasswordFile(tmp_path / FILE)
    file.path.write_text(text)
    for _ in range(2):
        with pytest.raises(PasswordError, match="set them anew at the tank"):
            file.keys()


def test_an_empty_file_sets_none(tmp_path: Path) -> None:
    """As the installer makes it, for the service."""
    file = PasswordFile(tmp_path / FILE)
    file.path.write_text("\n")
    assert file.keys() == Keys()


def test_the_credential_goes_before_the_state_folder(tmp_path: Path) -> None:
    """Where the service manager hands one over."""
    assert place_of(tmp_path, {}) == tmp_path / FILE
    handed = tmp_path / "handed"
    handed.mkdir()
    assert place_of(tmp_path, {"CREDENTIALS_DIRECTORY": str(handed)}) == tmp_path / FILE
    (handed / FILE).touch()
    assert place_of(tmp_path, {"CREDENTIALS_DIRECTORY": str(handed)}) == handed / FILE


def test_comparing_takes_no_hint_from_where_they_differ(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every byte is looked at, each time."""
    asked: list[bytes] = []

    def compared(one: bytes, other: bytes) -> bool:
        asked.append(one)
        return one == other

    monkeypatch.setattr(hmac, "compare_digest", compared)
    keys = Keys(Key(**SOUND), Key(**SOUND))
    keys.rank_of("wrong")
    assert len(asked) == 2
