"""`evenwater broker`: what it prints, what it never prints, and its exit codes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from daemon.cli.main import main
from tests.broker.conftest import GARDEN_FILE, needs_mosquitto

pytestmark = needs_mosquitto
FINE, NOT_PROVEN, NOTHING_DONE = 0, 1, 2


def run(folder: Path, *more: str) -> int:
    """The exit code for the school garden."""
    return main(["broker", str(folder), "--settings", str(GARDEN_FILE), *more])


def test_made_proven_and_told_what_to_copy(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """From nothing to the lines for the settings; no password on the screen."""
    folder = tmp_path / "files"
    assert run(folder, "--name", "broker.local") == FINE
    said = capfd.readouterr()
    assert said.err == ""
    assert "FAILED" not in said.out
    for word in ("made   ", "proven watch reads", 'username = "quince-lane"', "LoadCredential=mqtt-password:"):
        assert word in said.out
    words = [file.read_text().strip() for file in folder.glob("password-*")]
    assert len(words) == 3
    assert not any(word in said.out for word in words)


def test_with_certificates_the_drop_in_and_the_settings_name_them(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """And the watcher's command its own; no private key on the screen."""
    folder = tmp_path / "files"
    assert run(folder, "--certificates") == FINE
    said = capfd.readouterr().out
    for word in (
        "sudo systemctl edit evenwater",
        "LoadCredential=mqtt-client-key:/etc/evenwater/mqtt-client-key",
        'client_certificate_credential = "mqtt-client-certificate"',
        "--certificate-file client-watch.pem --key-file client-watch.key",
    ):
        assert word in said
    assert "passw" not in said
    assert "PRIVATE KEY" not in said
    assert "IPAddressAllow" not in said  # the broker is this machine


@pytest.mark.parametrize(
    ("host", "allowed"), [("192.0.2.7", "192.0.2.7"), ("broker.local", "ADDRESS-OF-broker.local")]
)
def test_a_broker_elsewhere_needs_its_address_in_the_drop_in(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], host: str, allowed: str
) -> None:
    """The unit lets the service reach this box only."""
    settings = tmp_path / "site.toml"
    text = GARDEN_FILE.read_text()
    assert text.count('host = "127.0.0.1"') == 1
    settings.write_text(text.replace('host = "127.0.0.1"', f'host = "{host}"'))
    assert main(["broker", str(tmp_path / "files"), "--settings", str(settings)]) == FINE
    assert f"IPAddressAllow={allowed}" in capfd.readouterr().out


def test_only_the_proof_as_json_and_what_failed_stops_the_copying(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    """One value; nothing to do is told while something is wrong."""
    folder = tmp_path / "files"
    assert run(folder, "--json") == FINE
    first = json.loads(capfd.readouterr().out)
    assert "ca.pem" in first["made"]
    assert any("tls_ca_file" in paragraph for paragraph in first["todo"])
    (folder / "acl").write_text(
        (folder / "acl").read_text().replace("user watch\ntopic read ", "user watch\ntopic ")
    )
    assert run(folder, "--json", "--test") == NOT_PROVEN
    said = capfd.readouterr()
    second = json.loads(said.out)
    assert (second["made"], second["todo"]) == ([], [])
    assert "do not use the files" in said.err


@pytest.mark.parametrize("more", [("--test",), ("--name", "a b")])
def test_where_nothing_can_be_done_it_is_two(
    tmp_path: Path, capfd: pytest.CaptureFixture[str], more: tuple[str, ...]
) -> None:
    """No files to prove, or a name that is none."""
    assert run(tmp_path / "files", *more) == NOTHING_DONE
    said = capfd.readouterr()
    assert said.out == ""
    assert said.err.startswith("evenwater broker: ")


def test_a_missing_settings_file_is_two(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """With the next step."""
    assert main(["broker", str(tmp_path), "--settings", str(tmp_path / "none.toml")]) == NOTHING_DONE
    assert "none.toml" in capfd.readouterr().err
