"""Whom the link trusts: a server that is always checked, secrets from credentials, and words for each refusal."""

from __future__ import annotations

import ssl
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from config.settings import Mqtt
from daemon.link.trust import (
    MqttSettingsError,
    Trust,
    end_of,
    explained,
    of_alert,
    read_keys,
    read_password,
    read_trust,
)
from tests.brokers import Broker, until
from tests.certificates import OPENSSL, Authority
from tests.link.devices import Device, Make, only_mosquitto
from tests.link.states import state

pytestmark = pytest.mark.filterwarnings(  # paho 2.2 leaves a failed handshake's socket to the garbage collector
    "ignore::pytest.PytestUnraisableExceptionWarning"
)
needs_openssl = pytest.mark.skipif(OPENSSL is None, reason="openssl is not installed")
Start = Callable[..., Broker]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Where the authorities and certificates of this module are."""
    return tmp_path_factory.mktemp("certificates")


@pytest.fixture(scope="module")
def authority(folder: Path) -> Authority:
    """The one that the box trusts."""
    return Authority(folder)


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Starts brokers that show this certificate, on one port, and stops them at the end."""
    started: list[Broker] = []

    def broker(shown: tuple[Path, Path], *more: str, port: int | None = None) -> Broker:
        lines = (f"certfile {shown[0]}", f"keyfile {shown[1]}", *more)
        started.append(Broker("mosquitto", tmp_path, *lines, port=port))
        return started[-1]

    yield broker
    for each in started:
        each.stop()


def problem_of(device: Device) -> str:
    """What the link says once it has tried; the box's passes go on meanwhile."""
    device.link.publish(state())
    until(lambda: device.link.status().problem or device.link.status().connected)
    assert not device.link.status().connected
    return device.link.status().problem


def showing(authority: Authority, **how: Any) -> dict[str, Any]:
    """What makes a device show a certificate of that authority."""
    certificate, key = authority.issue("box", **how)
    names = {"client_certificate_credential": certificate.name, "client_key_credential": key.name}
    environ = {"CREDENTIALS_DIRECTORY": str(authority.file.parent)}
    return {"tls_ca_file": str(authority.file), "environ": environ, **names}


SPOILT: dict[str, tuple[dict[str, Any], str, str]] = {
    "wrong name": ({"subject": "DNS:elsewhere.local"}, 'not made for "127.0.0.1"', "evenwater broker --name"),
    "ended": ({"from_days": -9, "to_days": -1}, "has ended, and this box's clock says 20", "evenwater broker"),
    "a clock a year slow": ({"from_days": 365, "to_days": 700}, "the clock is probably wrong", "timedatectl"),
}


@only_mosquitto
@needs_openssl
@pytest.mark.parametrize("case", sorted(SPOILT))
def test_a_broker_that_cannot_be_verified_gets_no_word_until_it_is_put_right(
    device: Make, start: Start, authority: Authority, case: str
) -> None:
    """The message says what to do; with a good certificate on the same port it connects by itself."""
    how, why, what_to_do = SPOILT[case]
    good, spoilt = authority.issue("good"), authority.issue("spoilt", **how)
    broker = start(spoilt)
    here = device(broker.port, tls_ca_file=str(authority.file))
    said = problem_of(here)
    assert why in said
    assert what_to_do in said
    broker.stop()
    start(good, port=broker.port)
    here.link.publish(state(2))
    until(lambda: here.link.status().connected, 10.0)
    ends = here.link.status().certificate_ends
    assert ends is not None
    assert timedelta(days=89) < ends - datetime.now(UTC) < timedelta(days=91)


@only_mosquitto
@needs_openssl
def test_another_authority_is_refused_and_a_new_file_of_the_right_one_serves_at_once(
    device: Make, start: Start, authority: Authority, tmp_path: Path
) -> None:
    """Somebody else's broker gets no word; the grower copies the right file, and nothing has to be restarted."""
    broker = start(authority.issue("good"))
    trusted = tmp_path / "trusted.pem"
    trusted.write_bytes(Authority(tmp_path, "other").file.read_bytes())
    here = device(broker.port, tls_ca_file=str(trusted))
    said = problem_of(here)
    assert f"not signed by {trusted}" in said
    assert "copy the authority's certificate" in said
    trusted.write_text("spoilt")
    until(lambda: "tls_ca_file" in here.link.status().problem)
    trusted.write_bytes(authority.file.read_bytes())
    until(lambda: here.link.status().connected, 10.0)


@only_mosquitto
@needs_openssl
def test_a_broker_that_asks_for_a_certificate_gets_the_boxs(
    device: Make, start: Start, authority: Authority
) -> None:
    """Without one it is said what to set, though TLS 1.3 tells only after the handshake; with it, it connects."""
    asking = f"cafile {authority.file}", "require_certificate true"
    broker = start(authority.issue("good"), *asking)
    without = device(broker.port, tls_ca_file=str(authority.file))
    assert "client_certificate_credential" in problem_of(without)
    device(broker.port, **showing(authority, use="client")).ready()


@only_mosquitto
@needs_openssl
@pytest.mark.parametrize("how", [{"use": "client", "from_days": -9.0, "to_days": -1.0}, {"use": "server"}])
def test_a_client_certificate_that_the_broker_refuses_is_told(
    device: Make, start: Start, authority: Authority, how: dict[str, Any]
) -> None:
    """By the broker's alert; where its hanging up overtakes that, by where to look."""
    asking = f"cafile {authority.file}", "require_certificate true"
    broker = start(authority.issue("good"), *asking)
    said = problem_of(device(broker.port, **showing(authority, **how)))
    assert "refused the client certificate" in said


@only_mosquitto
@needs_openssl
def test_the_wrong_kind_of_port_is_told_both_ways(
    device: Make, start: Start, authority: Authority, tmp_path: Path
) -> None:
    """TLS spoken to a plain port, and plain MQTT to one with TLS."""
    secure = start(authority.issue("good"))
    assert "does this port speak TLS? Then set [mqtt] tls_ca_file" in problem_of(device(secure.port))
    plain = Broker("mosquitto", tmp_path)
    try:
        said = problem_of(device(plain.port, tls_ca_file=str(authority.file)))
        assert "no TLS can be spoken there" in said
        assert "take tls_ca_file out" in said
    finally:
        plain.stop()


# files and credentials


def test_an_unusable_ca_file_is_said_at_once(tmp_path: Path) -> None:
    """The key, the file and what to give."""
    with pytest.raises(MqttSettingsError, match=r"tls_ca_file = .*none\.pem.*certificate"):
        read_trust(Mqtt(tls_ca_file=str(tmp_path / "none.pem")), {})


def test_without_a_ca_file_there_is_no_tls() -> None:
    """And nothing is read."""
    assert read_trust(Mqtt(), {}) is None


@needs_openssl
def test_the_server_is_always_checked(authority: Authority) -> None:
    """Authority and name, whatever else is set."""
    context = Trust(authority.file).context()
    assert context.verify_mode is ssl.CERT_REQUIRED
    assert context.check_hostname


@needs_openssl
def test_a_key_of_another_certificate_is_said_at_once(authority: Authority, folder: Path) -> None:
    """With what to give."""
    authority.issue("box", use="client")
    authority.issue("two", use="client")
    of = Mqtt(
        tls_ca_file=str(authority.file),
        client_certificate_credential="box.pem",
        client_key_credential="two.key",
    )
    with pytest.raises(MqttSettingsError, match="made for this certificate"):
        read_trust(of, {"CREDENTIALS_DIRECTORY": str(folder)})
    with pytest.raises(MqttSettingsError, match="LoadCredential"):
        read_trust(of, {})


@pytest.mark.parametrize(
    "half",
    [
        {"client_certificate_credential": "c", "tls_ca_file": "x"},
        {"client_key_credential": "k", "tls_ca_file": "x"},
        {"client_certificate_credential": "c", "client_key_credential": "k"},
    ],
)
def test_half_of_a_certificate_is_refused(half: dict[str, str]) -> None:
    """Certificate, key and authority belong together."""
    with pytest.raises(ValueError, match="client_certificate_credential"):
        Mqtt.model_validate(half)


def test_words_of_refusals_that_no_broker_here_gives() -> None:
    """Alerts by openssl's names, those of the handshake of TLS 1.2 too; an error of the network as it is."""
    assert "made for clients" in of_alert("[SSL: SSLV3_ALERT_UNSUPPORTED_CERTIFICATE]", ours="c")
    assert "none is shown" in of_alert("[SSL: SSLV3_ALERT_HANDSHAKE_FAILURE]", ours=None)
    assert "it has ended" in of_alert("[SSL: SSLV3_ALERT_CERTIFICATE_EXPIRED] sslv3 alert", ours="c")
    assert "does not know the authority" in of_alert("[SSL: TLSV1_ALERT_UNKNOWN_CA] tlsv1 alert", ours="c")
    assert "none is shown" in of_alert("[SSL: TLSV13_ALERT_CERTIFICATE_REQUIRED]", ours=None)
    assert of_alert("[Errno 104] Connection reset by peer", ours=None) == ""
    assert explained(OSError(111, "refused"), Mqtt()) == "[Errno 111] refused"
    assert end_of(None) is None


def test_the_password_is_read_from_the_credential(tmp_path: Path) -> None:
    """As the service manager hands it over; the line's end is not part of it."""
    (tmp_path / "mqtt-password").write_text("quince \n")
    of = Mqtt(username="box", password_credential="mqtt-password")
    assert read_password(of, {"CREDENTIALS_DIRECTORY": str(tmp_path)}) == "quince "
    assert read_password(Mqtt(), {}) is None


@pytest.mark.parametrize(
    ("name", "content", "told"),
    [
        ("mqtt-password", None, "cannot be read"),
        ("mqtt-password", b"\n", "is empty"),
        ("mqtt-password", b"\xff\xfe", "is no text"),
        ("../mqtt-password", b"x", "without a folder"),
    ],
)
def test_without_its_password_the_link_fails_closed(
    tmp_path: Path, name: str, content: bytes | None, told: str
) -> None:
    """Nobody connects without the password that the settings ask for."""
    if content is not None:
        (tmp_path / "mqtt-password").write_bytes(content)
    with pytest.raises(MqttSettingsError, match=told):
        read_password(Mqtt(password_credential=name), {"CREDENTIALS_DIRECTORY": str(tmp_path)})


def test_a_password_outside_the_service_says_what_to_do() -> None:
    """Run by hand there is no credentials directory."""
    with pytest.raises(MqttSettingsError, match="LoadCredential"):
        read_password(Mqtt(password_credential="mqtt-password"), {})


def test_keys_of_controllers_come_from_credentials(tmp_path: Path) -> None:
    """Each is named in the settings file as TOML has it; one that is missing or short stops the start."""
    of = Mqtt.model_validate({"release_controllers": ["panel"]})
    where = {"CREDENTIALS_DIRECTORY": str(tmp_path)}
    with pytest.raises(MqttSettingsError, match="CREDENTIALS_DIRECTORY is not set"):
        read_keys(of, {})
    with pytest.raises(MqttSettingsError, match="key-panel: cannot be read"):
        read_keys(of, where)
    (tmp_path / "key-panel").write_text("short\n")
    with pytest.raises(MqttSettingsError, match="at least 32 are needed"):
        read_keys(of, where)
    (tmp_path / "key-panel").write_text("k" * 32 + "\n")
    assert read_keys(of, where) == {"panel": b"k" * 32}
    assert read_keys(Mqtt(), {}) == {}
