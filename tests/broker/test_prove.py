"""The proof finds what was spoilt: a check that cannot fail proves nothing."""

from __future__ import annotations

from pathlib import Path

import pytest

from config.settings import Settings
from daemon.broker.make import BrokerError
from daemon.broker.prove import prove
from tests.broker.conftest import needs_mosquitto

pytestmark = needs_mosquitto


def failed(files: Path, garden: Settings) -> set[str]:
    """The names of the steps that did not pass."""
    return {step.name for step in prove(files, garden) if not step.passed}


def test_files_as_they_are_made_are_proven(files: Path, garden: Settings) -> None:
    """All sixteen steps, against a real mosquitto."""
    steps = list(prove(files, garden))
    assert len(steps) == 16
    assert [step for step in steps if not step.passed] == []


@pytest.mark.parametrize(
    ("spoilt", "wrong"),
    [
        (("evenwater.conf", "allow_anonymous false", "allow_anonymous true"), {"who gives no name is refused"}),
        (
            ("acl", "topic write homie/5/quince-lane/+/hold/set", "topic write homie/5/#"),
            {"panel cannot write the state", "panel cannot write a value"},
        ),
        (("acl", "topic write homie/5/quince-lane/+/hold/set\n", ""), {"panel can ask for hold"}),
        (("acl", "topic write homie/5/quince-lane/box/request/set\n", ""), {"panel can send requests"}),
        (
            ("acl", "user watch\ntopic read", "user watch\ntopic readwrite"),
            {"watch cannot write the state", "watch cannot send requests", "watch cannot ask for hold"},
        ),
        (
            ("acl", "topic readwrite homie/5/quince-lane/#", "topic readwrite homie/5/#"),
            {"the box cannot write another's"},
        ),
    ],
)
def test_a_spoilt_line_fails_just_its_steps(
    files: Path, garden: Settings, spoilt: tuple[str, str, str], wrong: set[str]
) -> None:
    """By name, so that one sees what to look at."""
    file, old, new = spoilt
    text = (files / file).read_text()
    assert text.count(old) == 1
    (files / file).write_text(text.replace(old, new))
    assert failed(files, garden) == wrong


def test_files_by_certificate_are_proven(by_certificate: Path, garden: Settings) -> None:
    """As many steps; the two about passwords are about certificates."""
    steps = list(prove(by_certificate, garden))
    assert len(steps) == 16
    assert [step for step in steps if not step.passed] == []
    assert {"who shows no certificate is refused", "a name beside the certificate gives no rights"} <= {
        step.name for step in steps
    }


def test_a_name_that_counts_more_than_the_certificate_is_found(by_certificate: Path, garden: Settings) -> None:
    """Whoever has a certificate could call itself the box."""
    text = (by_certificate / "evenwater.conf").read_text()
    spoilt = text.replace("allow_anonymous false", "allow_anonymous true")
    (by_certificate / "evenwater.conf").write_text(spoilt.replace("use_identity_as_username true\n", ""))
    assert "a name beside the certificate gives no rights" in failed(by_certificate, garden)


@pytest.mark.filterwarnings(  # paho 2.2 leaves a failed handshake's socket to the garbage collector
    "ignore::pytest.PytestUnraisableExceptionWarning"
)
def test_a_listener_without_tls_is_found(files: Path, garden: Settings) -> None:
    """Every step that asks over TLS gets no answer, and the plain one is let in."""
    text = (files / "evenwater.conf").read_text()
    kept = [line for line in text.splitlines() if not line.startswith(("cafile", "certfile", "keyfile"))]
    (files / "evenwater.conf").write_text("\n".join(kept) + "\n")
    assert "a connection without TLS is refused" in failed(files, garden)


def test_a_name_that_is_not_in_the_certificate_is_found(files: Path, garden: Settings) -> None:
    """The box would not connect."""
    mqtt = garden.mqtt.model_copy(update={"host": "elsewhere.local"})
    wrong = failed(files, garden.model_copy(update={"mqtt": mqtt}))
    assert wrong == {"the certificate is good for elsewhere.local"}


def test_a_broker_that_does_not_start_is_said_with_its_reason(files: Path, garden: Settings) -> None:
    """In mosquitto's own words."""
    with (files / "evenwater.conf").open("a") as more:
        more.write("juggle true\n")
    with pytest.raises(BrokerError, match=r"does not start with these files: .*juggle"):
        failed(files, garden)


@pytest.mark.parametrize("name", ["evenwater.conf", "password-panel"])
def test_a_missing_file_is_said(files: Path, garden: Settings, name: str) -> None:
    """Nothing is passed over."""
    (files / name).unlink()
    with pytest.raises(BrokerError, match=f"{name}: cannot be read"):
        failed(files, garden)
