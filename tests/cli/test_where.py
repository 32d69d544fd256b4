"""Which daemon a command speaks to."""

from __future__ import annotations

import argparse
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daemon.cli import where
from daemon.cli.where import CANDIDATES, add_state_option, state_folder
from daemon.link.client import ControlClient, NoDaemon


@pytest.fixture(autouse=True)
def _somewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty working directory, and nothing in the environment."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("EVENWATER_STATE", raising=False)


def a_daemon_in(folder: Path) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "control.sock").touch()


def test_the_folder_asked_for_wins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Over the environment and over any daemon found."""
    monkeypatch.setenv("EVENWATER_STATE", "named")
    a_daemon_in(Path("var"))
    assert state_folder(Path("asked")) == Path("asked")


def test_the_environment_wins_over_what_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    """An empty one counts as not set."""
    a_daemon_in(Path("var"))
    monkeypatch.setenv("EVENWATER_STATE", "named")
    assert state_folder(None) == Path("named")
    monkeypatch.setenv("EVENWATER_STATE", "")
    assert state_folder(None) == Path("var")


def test_the_first_folder_with_a_daemon_in_it_is_taken() -> None:
    """In the order of the help; the usual one where there is none."""
    assert state_folder(None) == CANDIDATES[0]
    a_daemon_in(Path("var/demo"))
    assert state_folder(None) == Path("var/demo")
    a_daemon_in(Path("var"))
    assert state_folder(None) == Path("var")


@contextmanager
def nobody() -> Iterator[None]:
    """Not root inside, since root may look everywhere."""
    before = os.geteuid()
    if before == 0:
        os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(before)


def test_a_closed_folder_counts_and_the_call_says_how_to_get_in(monkeypatch: pytest.MonkeyPatch) -> None:
    """As a person meets the service's folder before joining its group."""
    closed = Path("closed")
    closed.mkdir(mode=0o000)
    Path().chmod(0o711)
    monkeypatch.setattr(where, "CANDIDATES", (Path("var"), closed, Path("other")))
    with nobody():
        assert state_folder(None) == closed
        with pytest.raises(NoDaemon, match="use sudo, or join the group"):
            ControlClient(closed).call("status")


def test_the_help_names_them_all() -> None:
    """In the order in which they are tried."""
    parser = argparse.ArgumentParser()
    add_state_option(parser)
    said = " ".join(parser.format_help().split())
    places = [said.index(f"{folder}") for folder in ("$EVENWATER_STATE", *CANDIDATES[:2])]
    assert places == sorted(places)
    assert parser.parse_args(["--state", "x"]).state == Path("x")
