"""The files: all of them, private, never overwritten."""

from __future__ import annotations

import shutil
import ssl
import stat
import subprocess
from pathlib import Path

import pytest

from config.settings import Settings
from daemon.broker.make import BrokerError, ends, make
from tests.broker.conftest import needs_mosquitto

pytestmark = needs_mosquitto
SECRET = ["ca.key", "broker.key", "passwd", "password-quince-lane", "password-panel", "password-watch"]


def test_everything_is_made_and_nothing_is_left_over(pristine: Path) -> None:
    """No scratch file, no signing request."""
    others = ["ca.pem", "broker.pem", "acl", "evenwater.conf"]
    assert sorted(file.name for file in pristine.iterdir()) == sorted([*SECRET, *others])


@pytest.mark.parametrize("name", SECRET)
def test_secrets_are_for_their_owner_only(pristine: Path, name: str) -> None:
    """Mode 0600, in a folder of mode 0700."""
    assert stat.S_IMODE((pristine / name).stat().st_mode) == 0o600
    assert stat.S_IMODE(pristine.stat().st_mode) == 0o700


def test_each_user_has_a_long_password_of_their_own_that_the_broker_keeps_hashed(pristine: Path) -> None:
    """24 random bytes each; mosquitto's file does not show them."""
    words = [(pristine / name).read_text().strip() for name in SECRET if name.startswith("password-")]
    assert len(set(words)) == 3
    assert all(len(word) == 32 for word in words)
    hashed = (pristine / "passwd").read_text()
    assert not any(word in hashed for word in words)
    assert [line.split(":")[0] for line in hashed.splitlines()] == ["quince-lane", "panel", "watch"]


def test_the_certificate_stands_openssls_strictest_check(pristine: Path) -> None:
    """For a server of that name, by the rules of RFC 5280 as openssl checks them with -x509_strict."""
    for name in (["-verify_hostname", "broker.local"], ["-verify_ip", "127.0.0.1"]):
        command = ["openssl", "verify", "-x509_strict", "-purpose", "sslserver", *name, "-CAfile"]
        subprocess.run([*command, str(pristine / "ca.pem"), str(pristine / "broker.pem")], check=True)
    wrong = ["openssl", "verify", "-verify_hostname", "elsewhere.local", "-CAfile", str(pristine / "ca.pem")]
    done = subprocess.run([*wrong, str(pristine / "broker.pem")], check=False, capture_output=True)
    assert done.returncode != 0
    days = (ssl.cert_time_to_seconds(ends(pristine)) - (pristine / "broker.pem").stat().st_mtime) / 86_400
    assert 819 < days < 821


def test_a_second_run_changes_nothing(files: Path, garden: Settings) -> None:
    """Not a byte, and it says that nothing was made."""
    before = {file.name: file.read_bytes() for file in files.iterdir()}
    assert make(files, garden) == []
    assert {file.name: file.read_bytes() for file in files.iterdir()} == before


def test_an_ended_certificate_is_made_anew_under_the_same_authority(files: Path, garden: Settings) -> None:
    """Moved away with its key; passwords and authority stay, so that no box or phone needs a visit."""
    kept = (files / "ca.pem").read_bytes(), (files / "passwd").read_bytes()
    for name in ("broker.pem", "broker.key"):
        (files / name).unlink()
    assert sorted(make(files, garden)) == ["broker.key", "broker.pem"]
    assert ((files / "ca.pem").read_bytes(), (files / "passwd").read_bytes()) == kept
    verify = ["openssl", "verify", "-CAfile", str(files / "ca.pem"), str(files / "broker.pem")]
    subprocess.run(verify, check=True, capture_output=True)


def test_with_certificates_there_is_no_password(pristine_by_certificate: Path) -> None:
    """One for each user, for clients only, named as the user is; its key for its owner only."""
    folder = pristine_by_certificate
    assert not [file.name for file in folder.iterdir() if "passw" in file.name]
    verify = ["openssl", "verify", "-x509_strict", "-CAfile", str(folder / "ca.pem"), "-purpose"]
    for user in ("quince-lane", "panel", "watch"):
        certificate = str(folder / f"client-{user}.pem")
        subprocess.run([*verify, "sslclient", certificate], check=True, capture_output=True)
        assert subprocess.run([*verify, "sslserver", certificate], check=False, capture_output=True).returncode
        subject = subprocess.check_output(
            ["openssl", "x509", "-in", certificate, "-noout", "-subject"], text=True
        )
        assert subject.strip().endswith(f"CN = {user}")
        assert stat.S_IMODE((folder / f"client-{user}.key").stat().st_mode) == 0o600


def test_one_certificate_is_made_anew_and_the_rest_stays(by_certificate: Path, garden: Settings) -> None:
    """A lost phone costs no visit to the box."""
    kept = (by_certificate / "client-quince-lane.pem").read_bytes()
    for name in ("client-panel.pem", "client-panel.key"):
        (by_certificate / name).unlink()
    assert sorted(make(by_certificate, garden, certificates=True)) == ["client-panel.key", "client-panel.pem"]
    assert (by_certificate / "client-quince-lane.pem").read_bytes() == kept


@pytest.mark.parametrize(
    ("absent", "told"),
    [
        (["client-panel.key"], "client-panel.key not there, but client-panel.pem"),
        (["ca.key", "client-watch.pem", "client-watch.key"], "ca.key is needed to sign client-watch.pem"),
        (["ca.pem", "ca.key", "broker.pem", "broker.key"], "client-panel.pem is there, but not ca.pem"),
    ],
)
def test_half_of_the_certificates_is_refused(
    by_certificate: Path, garden: Settings, absent: list[str], told: str
) -> None:
    """Before anything is written."""
    for name in absent:
        (by_certificate / name).unlink()
    before = sorted(file.name for file in by_certificate.iterdir())
    with pytest.raises(BrokerError, match=told):
        make(by_certificate, garden, certificates=True)
    assert sorted(file.name for file in by_certificate.iterdir()) == before


def test_a_folder_goes_by_one_kind_only(files: Path, by_certificate: Path, garden: Settings) -> None:
    """Passwords beside certificates would leave both half made."""
    with pytest.raises(BrokerError, match="goes by passwords, and certificates were asked for"):
        make(files, garden, certificates=True)
    with pytest.raises(BrokerError, match="goes by certificates, and passwords were asked for"):
        make(by_certificate, garden)
    (files / "evenwater.conf").write_bytes(b"\xff")
    with pytest.raises(BrokerError, match=r"evenwater\.conf: cannot be read"):
        make(files, garden)


@pytest.mark.parametrize(
    ("absent", "told"),
    [
        (["password-panel"], "password-panel not there, but passwd"),
        (["broker.key"], "broker.key not there, but broker.pem"),
        (["ca.key", "broker.pem", "broker.key"], "ca.key is needed to sign broker.pem"),
        (["ca.pem"], "broker.pem is there, but not ca.pem"),
        (["ca.pem", "broker.pem", "broker.key"], "ca.key is there, but not ca.pem"),
    ],
)
def test_half_of_what_belongs_together_is_refused(
    files: Path, garden: Settings, absent: list[str], told: str
) -> None:
    """Before anything is written."""
    for name in absent:
        (files / name).unlink()
    before = {file.name: file.read_bytes() for file in files.iterdir()}
    with pytest.raises(BrokerError, match=told):
        make(files, garden)
    assert {file.name: file.read_bytes() for file in files.iterdir()} == before


def test_without_its_key_the_authority_still_serves(files: Path, garden: Settings) -> None:
    """It is to be kept elsewhere."""
    (files / "ca.key").unlink()
    assert make(files, garden) == []


@pytest.mark.parametrize("tool", ["openssl", "mosquitto_passwd"])
def test_a_missing_tool_is_named_with_its_package(
    tmp_path: Path, garden: Settings, monkeypatch: pytest.MonkeyPatch, tool: str
) -> None:
    """And no folder is begun."""
    found = shutil.which
    monkeypatch.setattr(shutil, "which", lambda name, path=None: None if name == tool else found(name))
    package = {"openssl": "openssl", "mosquitto_passwd": "mosquitto"}[tool]
    with pytest.raises(BrokerError, match=f"{tool} is not installed: sudo apt-get install {package}$"):
        make(tmp_path / "files", garden)
    assert not (tmp_path / "files").exists()


@pytest.mark.parametrize("name", ["", "a b", "x,DNS:y", "x\ny", "brokér.local", "*.local"])
def test_a_name_that_is_none_is_refused(tmp_path: Path, garden: Settings, name: str) -> None:
    """It would become part of the certificate's settings."""
    with pytest.raises(BrokerError, match="is no name or address of a broker"):
        make(tmp_path / "files", garden, [name])
    assert not (tmp_path / "files").exists()


def test_a_box_called_as_a_user_is_refused(tmp_path: Path, garden: Settings) -> None:
    """The panel must not be the box."""
    site = garden.site.model_copy(update={"device_id": "panel"})
    with pytest.raises(BrokerError, match='device_id = "panel": a user of the broker has that name'):
        make(tmp_path / "files", garden.model_copy(update={"site": site}))


def test_a_folder_that_cannot_be_is_said(tmp_path: Path, garden: Settings) -> None:
    """A file is in its place."""
    (tmp_path / "files").write_text("")
    with pytest.raises(BrokerError, match=r"files.*: cannot be written"):
        make(tmp_path / "files", garden)
