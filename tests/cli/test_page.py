"""`evenwater page`: what it refuses, and the passwords that are set at the tank."""

from __future__ import annotations

import socket
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from daemon.cli import page
from daemon.cli.main import main
from daemon.cli.page_beside import free
from daemon.page import passwords
from daemon.page.passwords import FILE, PasswordFile
from daemon.page.visitor import Rank

GOOD, OTHER = "wet hands, dry phone", "only the kitchen tablet"


@pytest.fixture(autouse=True)
def cheap(monkeypatch: pytest.MonkeyPatch) -> None:
    """Keys that are made once over."""
    monkeypatch.setattr(passwords, "P", 1)


@pytest.fixture
def typed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What a person types at the terminal, in turn."""
    words: list[str] = []

    def asked(_: str) -> str:
        return words.pop(0)

    monkeypatch.setattr(page, "getpass", asked)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True)
    return words


@pytest.fixture
def taken() -> Iterator[int]:
    """A port that somebody listens on."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen()
        yield int(listener.getsockname()[1])


def asks(folder: Path, *words: str) -> int:
    """The exit code of the command for this state folder."""
    return main(["page", "--state", str(folder), *words])


def keys(folder: Path) -> passwords.Keys:
    """What is set in it."""
    return PasswordFile(folder / FILE).keys()


def test_a_password_is_set_by_typing_it_twice(
    tmp_path: Path, typed: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """The guest's after the holder's; each told with where it is kept, none of them shown."""
    typed += [GOOD, GOOD, OTHER, OTHER]
    assert asks(tmp_path, "--set-password") == 0
    assert asks(tmp_path, "--set-password", "guest") == 0
    assert (keys(tmp_path).rank_of(GOOD), keys(tmp_path).rank_of(OTHER)) == (Rank.HOLDER, Rank.GUEST)
    said = capsys.readouterr().out
    assert said.count(str(tmp_path / FILE)) == 2
    assert (GOOD in said, OTHER in said) == (False, False)
    assert asks(tmp_path, "--forget-guest") == 0
    assert keys(tmp_path).guest is None
    assert keys(tmp_path).rank_of(GOOD) is Rank.HOLDER


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([GOOD, GOOD + "x"], "not the same"),
        (["short"], "must have 10 to 200"),
        ([""], "must have 10 to 200"),
    ],
)
def test_a_password_that_may_not_be_one_changes_nothing(
    tmp_path: Path, typed: list[str], capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    """Used wrongly; it says why."""
    typed += words
    assert asks(tmp_path, "--set-password") == 2
    assert said in capsys.readouterr().err
    assert keys(tmp_path).holder is None


def test_a_guest_has_another_password_and_comes_second(
    tmp_path: Path, typed: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """Else the tablet could dose, or nobody could."""
    assert asks(tmp_path, "--set-password", "guest") == 2
    assert "--set-password first" in capsys.readouterr().err
    typed += [GOOD, GOOD, GOOD, GOOD]
    assert asks(tmp_path, "--set-password") == 0
    assert asks(tmp_path, "--set-password", "guest") == 2
    assert "another than the holder's" in capsys.readouterr().err
    assert keys(tmp_path).guest is None


def test_a_password_is_not_piped_in(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Whoever sets it sits at a terminal of the box."""
    assert asks(tmp_path, "--set-password") == 2
    assert "typed at a terminal" in capsys.readouterr().err


def test_where_it_cannot_be_kept_is_told(
    tmp_path: Path, typed: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """With the next step."""
    typed += [GOOD, GOOD]
    assert asks(tmp_path, "--set-password", "--password-file", str(tmp_path / "none" / FILE)) == 1
    assert "cannot be written" in capsys.readouterr().err


def test_the_network_without_a_password_is_used_wrongly(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It says how to set one, and how to look without."""
    assert asks(tmp_path, "--address", "0.0.0.0", "--certificate", "a.pem", "--key", "b.pem") == 2
    said = capsys.readouterr().err
    assert ("--set-password" in said, "ssh -L" in said) == (True, True)


def test_the_network_without_tls_is_used_wrongly(
    tmp_path: Path, typed: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    """It names both ways to have it."""
    typed += [GOOD, GOOD]
    asks(tmp_path, "--set-password")
    assert asks(tmp_path, "--address", "0.0.0.0") == 2
    said = capsys.readouterr().err
    assert ("--certificate" in said, "--behind-proxy" in said) == (True, True)


def test_a_certificate_that_is_none_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """By its name; nothing listens then."""
    (tmp_path / "a.pem").write_text("none")
    files = ("--certificate", str(tmp_path / "a.pem"), "--key", str(tmp_path / "a.pem"))
    assert asks(tmp_path, "--port", "0", *files) == 1
    assert "a.pem" in capsys.readouterr().err


def test_spoiled_passwords_do_not_serve(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not as if there were none."""
    (tmp_path / FILE).write_text("{")
    assert asks(tmp_path, "--port", "0") == 2
    assert "set them anew at the tank" in capsys.readouterr().err


def test_a_port_that_is_taken_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str], taken: int) -> None:
    """With what to do."""
    assert asks(tmp_path, "--port", str(taken)) == 1
    assert "take --port" in capsys.readouterr().err


def test_beside_the_demo_it_takes_another_port_where_its_own_is_taken(taken: int) -> None:
    """Two demos, two pages."""
    assert free(taken) != taken
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = int(probe.getsockname()[1])
    assert free(port) == port
