"""The proof: mosquitto itself, started with these files, asked by each user for what it may and may not do."""

from __future__ import annotations

import os
import secrets
import socket
import ssl
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from config.settings import Mqtt, Settings
from daemon.broker import texts
from daemon.broker.make import BrokerError, tool
from daemon.link.wire import Wire

START_S = 10.0  # for mosquitto to listen, on a small board
ANSWER_S = 5.0
QUIET_S = 0.2  # in which a message that must not arrive would have
STEP_S = 0.05
HERE = "127.0.0.1"


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that was tried at the broker. name: what must be so. said: what was seen."""

    name: str
    passed: bool
    said: str


@dataclass(frozen=True, slots=True)
class Place:
    """A broker that runs for the proof: its files, its port on loopback, and the box it is for."""

    folder: Path
    port: int
    box: str
    mqtt: Mqtt
    certificates: bool

    @property
    def root(self) -> str:
        """The first levels of the box's topics."""
        return f"{self.mqtt.domain}/5/{self.box}"

    def password(self, user: str) -> str:
        """Raises BrokerError where its file cannot be read; "" where certificates are asked for."""
        if self.certificates:
            return ""
        return _read(self.folder / texts.password_file(user)).strip("\r\n")


def prove(folder: Path, settings: Settings) -> Iterator[Step]:
    """Start mosquitto with the folder's files and try everything, a step at a time.

    Raises BrokerError where it cannot be started or a file cannot be read.
    """
    with _running(folder, settings) as place:
        for name, attempt in _attempts(place, settings).items():
            try:
                problem = attempt()
            except OSError as error:
                problem = f"no answer: {error}"
            yield Step(name, not problem, problem or "as it must be")


def _attempts(place: Place, settings: Settings) -> dict[str, Callable[[], str]]:
    """What must be so, and the attempt; it gives "" or what was wrong."""
    box, root = place.box, place.root
    reservoir = next(iter(settings.reservoir))
    state, hold = f"{root}/$state", f"{root}/{reservoir}-dosing/hold/set"
    value, request = f"{root}/{reservoir}-probe/ph", f"{root}/box/request/set"
    other = f"{place.mqtt.domain}/5/{box}-2/$state"
    by_word = {
        "who gives no name is refused": lambda: _turned_away(place, None, ""),
        "a wrong password is refused": lambda: _turned_away(place, box, "wrong"),
    }
    by_certificate = {
        "who shows no certificate is refused": lambda: _turned_away(place, None, ""),
        "a name beside the certificate gives no rights": lambda: _named_otherwise(place, state),
    }
    return {
        **(by_certificate if place.certificates else by_word),
        "a connection without TLS is refused": lambda: _turned_away(place, box, place.password(box), tls=False),
        f"the certificate is good for {place.mqtt.host}": lambda: _named(place),
        "the box writes its topics and reads them": lambda: _passes(place, box, box, value),
        "the box gets an alert acknowledged": lambda: _refused_or_not(place, box, f"{root}/$alert/test", ""),
        "the box cannot write another's": lambda: _stopped(place, box, other),
        "panel reads": lambda: _passes(place, box, texts.PANEL, value),
        "panel can ask for hold": lambda: _passes(place, texts.PANEL, box, hold),
        "panel can send requests": lambda: _passes(place, texts.PANEL, box, request),
        "panel cannot write the state": lambda: _stopped(place, texts.PANEL, state),
        "panel cannot write a value": lambda: _stopped(place, texts.PANEL, value),
        "watch reads": lambda: _passes(place, box, texts.WATCH, value),
        "watch cannot write the state": lambda: _stopped(place, texts.WATCH, state),
        "watch cannot ask for hold": lambda: _stopped(place, texts.WATCH, hold),
        "watch cannot send requests": lambda: _stopped(place, texts.WATCH, request),
    }


@contextmanager
def _running(folder: Path, settings: Settings) -> Iterator[Place]:
    """Mosquitto with the very files, on a free port of this machine only; what it keeps is thrown away."""
    program, text = tool("mosquitto"), _read(folder / texts.CONFIGURATION)
    port = _free_port()
    with TemporaryDirectory(prefix="evenwater-broker-") as scratch:
        listening = texts.moved(text, str(folder.resolve()), port)
        around = f"persistence_location {scratch}/\n" + ("user root\n" if os.geteuid() == 0 else "")
        main, log = Path(scratch, "mosquitto.conf"), Path(scratch, "log")
        main.write_text(around + listening)
        with log.open("wb") as says:
            process = subprocess.Popen([program, "-c", str(main)], stdout=says, stderr=says)
        try:
            _await_start(process, port, log)
            yield Place(folder, port, settings.site.device_id, settings.mqtt, texts.goes_by_certificates(text))
        finally:
            process.kill()
            process.wait()


def _await_start(process: subprocess.Popen[bytes], port: int, log: Path) -> None:
    until_s = time.monotonic() + START_S
    while process.poll() is None and time.monotonic() < until_s:
        with socket.socket() as knock:
            if knock.connect_ex((HERE, port)) == 0:
                return
        time.sleep(STEP_S)
    said = [line for line in log.read_text(errors="replace").splitlines() if "rror" in line]
    raise BrokerError(f"mosquitto does not start with these files: {' | '.join(said) or 'it says nothing'}")


def _turned_away(place: Place, user: str | None, password: str, *, tls: bool = True) -> str:
    """Whether nobody gets in that way."""
    with _connected(place, user, password, tls=tls) as wire:
        return "it was let in" if wire.connected else ""


def _passes(place: Place, sender: str, reader: str, topic: str) -> str:
    """Whether a message of one user arrives at the other."""
    with _signed_in(place, reader) as reading, _signed_in(place, sender) as sending:
        reading.subscribe(topic, stored=False)
        _step_until(reading, lambda: reading.idle, ANSWER_S)
        sending.tell(topic, _payload(sender))
        _step_until(sending, lambda: False, STEP_S)
        _step_until(reading, lambda: bool(reading.messages), ANSWER_S)
        arrived = any((one.topic, one.payload) == (topic, _payload(sender)) for one in reading.messages)
        return "" if arrived else f"{topic}: did not arrive at {reader}"


def _stopped(place: Place, sender: str, topic: str) -> str:
    """Whether the broker says no, and keeps nothing of it."""
    if answer := _refused_or_not(place, sender, topic, "Not authorized"):
        return answer
    with _signed_in(place, texts.WATCH) as reading:
        reading.subscribe(topic, stored=True)
        _step_until(reading, lambda: bool(reading.messages), QUIET_S)
        kept = any(one.payload == _payload(sender) for one in reading.messages)
        return f"{topic}: was kept all the same" if kept else ""


def _refused_or_not(place: Place, sender: str, topic: str, wanted: str) -> str:
    """Whether the broker's answer to a kept message is the wanted refusal, "" for none."""
    with _signed_in(place, sender) as wire:
        return _answer(wire, topic, sender, wanted)


def _answer(wire: Wire, topic: str, sender: str, wanted: str) -> str:
    if not wire.connected:
        return f"{topic}: no answer"
    wire.send(topic, _payload(sender), qos=1)  # QoS 1: only there is a refusal told
    _step_until(wire, lambda: bool(wire.acknowledged), ANSWER_S)
    if not wire.acknowledged:
        return f"{topic}: no answer"
    refusal = wire.acknowledged[0].refusal
    return "" if refusal == wanted else f"{topic}: {refusal or 'it was taken'}"


def _named_otherwise(place: Place, topic: str) -> str:
    """Whether the watcher's certificate, sent with the box's name, may not write what the box may."""
    with _connected(place, texts.WATCH, "", claiming=place.box) as wire:
        return _answer(wire, topic, texts.WATCH, "Not authorized")


def _named(place: Place) -> str:
    """Whether a client that looks for the settings' host accepts the certificate."""
    with socket.create_connection((HERE, place.port), ANSWER_S) as plain:
        try:
            with _trust(place, place.box).wrap_socket(plain, server_hostname=place.mqtt.host):
                return ""
        except ssl.SSLError as error:
            return f"{error.reason}: {getattr(error, 'verify_message', '')}"


@contextmanager
def _signed_in(place: Place, user: str) -> Iterator[Wire]:
    """Raises OSError where that user is not let in."""
    with _connected(place, user, place.password(user)) as wire:
        if not wire.connected:
            raise ConnectionError(f"{user} is not let in: {wire.problem or 'no answer'}")
        yield wire


@contextmanager
def _connected(
    place: Place, user: str | None, password: str, *, tls: bool = True, claiming: str | None = None
) -> Iterator[Wire]:
    """claiming: the name that is said, where it is not the user's own."""
    name = claiming or user
    table = place.mqtt.model_copy(update={"host": HERE, "port": place.port, "username": name})
    trust = _trust(place, user) if tls else None
    wire = Wire(table, f"proof-{secrets.token_hex(4)}", password if name else None, trust)
    try:
        wire.open(f"{place.root}/proof", "")
        _step_until(wire, lambda: wire.connected, ANSWER_S)
        yield wire
    finally:
        wire.close()


def _trust(place: Place, user: str | None) -> ssl.SSLContext:
    context = ssl.create_default_context(cafile=str(place.folder / texts.CA))
    if place.certificates and user is not None:
        certificate, key = texts.certificate_files(user)
        context.load_cert_chain(place.folder / certificate, place.folder / key)
    return context


def _step_until(wire: Wire, happened: Callable[[], bool], within_s: float) -> None:
    until_s = time.monotonic() + within_s
    while not (happened() or wire.problem) and time.monotonic() < until_s:
        wire.step(STEP_S)


def _payload(sender: str) -> bytes:
    """So that nobody is taken for another."""
    return f"proof by {sender}".encode()


def _free_port() -> int:
    with socket.create_server((HERE, 0)) as listener:
        return int(listener.getsockname()[1])


def _read(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise BrokerError(f"{file}: cannot be read ({error})") from error
