"""`evenwater broker`: a mosquitto for this box, with users, access list and TLS, and the proof that it holds."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator, Sequence
from dataclasses import asdict
from ipaddress import ip_address
from pathlib import Path

from config.load import SettingsError, load
from config.plausible import LOOPBACK
from config.settings import Settings
from daemon.broker import texts
from daemon.broker.make import BrokerError, ends, goes_by_certificates, make
from daemon.broker.prove import Step, prove
from daemon.cli.ask import Commands

FINE, NOT_PROVEN, NOTHING_DONE = 0, 1, 2
EPILOG = """\
examples:
  evenwater broker broker-files --settings config/site.toml --name broker.local
  evenwater broker broker-files --settings config/site.toml --certificates   users are known by certificates
  evenwater broker broker-files --settings config/site.toml --test      only the proof, with the files as they are

Nothing is copied anywhere and no file is overwritten: what is there is kept, what is missing is made. Passwords
are in files of their own and are never shown.
exit code: 0 all is proven; 1 something is not as it must be; 2 nothing could be made or tried
"""

_ON_THE_BROKER = """\
on the broker's machine (Debian's package mosquitto), in {folder}:
  sudo install -d -o root -g mosquitto -m 0750 {home}
  sudo install -o root -g mosquitto -m 0640 acl {passwd}ca.pem broker.pem broker.key {home}/
  sudo install -m 0644 evenwater.conf /etc/mosquitto/conf.d/evenwater.conf
  sudo systemctl restart mosquitto"""
_ON_THE_BOX = """\
on the box, in {folder}:
  sudo install -m 0644 ca.pem {ca_file}
{ours}"""
_BY_WORD = """\
  sudo install -m 0600 {password} /etc/evenwater/mqtt-password
  the service hands it over as a credential; its unit says
  LoadCredential=mqtt-password:/etc/evenwater/mqtt-password"""
_BY_CERTIFICATE = """\
  sudo install -m 0600 {certificate} /etc/evenwater/mqtt-client-certificate
  sudo install -m 0600 {key} /etc/evenwater/mqtt-client-key"""
_DROP_IN = """\
sudo systemctl edit evenwater      and write there:
[Service]"""
_LOADED = "LoadCredential={name}:/etc/evenwater/{name}"
_ELSEWHERE = """\
# the unit lets it reach this box only; a name needs its name server's address here too
IPAddressAllow={address}"""
_SETTINGS = """\
[mqtt]
host = "{host}"
port = {port}
{known_by}
tls_ca_file = "{ca_file}\""""
_KNOWN_BY_WORD = 'username = "{box}"\npassword_credential = "mqtt-password"'
_KNOWN_BY_CERTIFICATE = (
    'client_certificate_credential = "mqtt-client-certificate"\nclient_key_credential = "mqtt-client-key"'
)
_PHONE_BY_WORD = "user panel, the word in password-panel"
_PHONE_BY_CERTIFICATE = "the certificate client-panel.pem with client-panel.key"
_FOR_PEOPLE = """\
for a phone: {phone}, port {port} with TLS, ca.pem as the authority
for a watcher: evenwater watch --host {host} --port {port} {watch} --ca-file ca.pem --expect {box}"""
_WATCH_BY_WORD = "--user watch --password-file password-watch"
_WATCH_BY_CERTIFICATE = "--certificate-file client-watch.pem --key-file client-watch.key"
_KEEP = """\
keep ca.key away from both machines: whoever has it can pretend to be the broker. Remove the {secrets} here
once they are where they belong. The certificate ends on {ends}: before that move broker.pem and broker.key
away, bring ca.key back and run this again."""
_CA_FILE = "/etc/evenwater/broker-ca.pem"


def add_commands(commands: Commands) -> None:
    """`evenwater broker`."""
    parser: argparse.ArgumentParser = commands.add_parser(
        "broker",
        help="make and prove the files of a mosquitto for this box: users, access list, TLS",
        description="Make what mosquitto needs to serve this box, a panel and a watcher, each within its rights; "
        "then start mosquitto with it on a free port and try that. No daemon is needed, none is disturbed.",
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="where the files are made, and kept")
    parser.add_argument("--settings", type=Path, required=True, metavar="FILE", help="the box's settings file")
    parser.add_argument(
        "--name",
        action="append",
        default=[],
        metavar="HOST",
        help="a name or address by which clients reach the broker, beside [mqtt] host; may be repeated",
    )
    parser.add_argument(
        "--certificates",
        action="store_true",
        help="each user has a certificate of their own in place of a password; it cannot be guessed",
    )
    parser.add_argument("--test", action="store_true", help="make nothing, only prove the files that are there")
    parser.add_argument("--json", action="store_true", help="print one JSON value for programs")
    parser.set_defaults(act=broker)


def broker(arguments: argparse.Namespace) -> int:
    """Make, prove, say what to copy where. The exit code."""
    show = _silent if arguments.json else print
    folder = arguments.folder
    try:
        settings = load(arguments.settings)
        made = (
            [] if arguments.test else make(folder, settings, arguments.name, certificates=arguments.certificates)
        )
        for name in made:
            show(f"made   {folder / name}")
        steps = []
        for step in prove(folder, settings):
            show(line(step))
            steps.append(step)
        todo = todos(folder, settings) if all(step.passed for step in steps) else []
    except (SettingsError, BrokerError) as trouble:
        print(f"evenwater broker: {trouble}", file=sys.stderr)
        return NOTHING_DONE
    for paragraph in todo:
        show(f"\n{paragraph}")
    if arguments.json:
        print(json.dumps(plain(made, steps, todo), ensure_ascii=False))
    return FINE if todo else _not_proven(folder)


def line(step: Step) -> str:
    """One step as it is printed."""
    return f"proven {step.name}" if step.passed else f"FAILED {step.name}: {step.said}"


def plain(made: Sequence[str], steps: Sequence[Step], todo: Sequence[str]) -> dict[str, object]:
    """The whole for programs: files made, steps tried, paragraphs of what to do (none unless all is proven)."""
    return {"made": list(made), "steps": [asdict(step) for step in steps], "todo": list(todo)}


def todos(folder: Path, settings: Settings) -> list[str]:
    """Paragraphs: what to copy where, what to write into the settings, what to keep. Raises BrokerError."""
    certificates = goes_by_certificates(folder)
    words = _words(folder, settings) | _known(settings.site.device_id, certificates=certificates)
    return [paragraph.format(**words) for paragraph in _paragraphs(settings, certificates=certificates)]


def _paragraphs(settings: Settings, *, certificates: bool) -> Iterator[str]:
    yield from (_ON_THE_BROKER, _ON_THE_BOX)
    if lines := list(_drop_in(settings.mqtt.host, certificates=certificates)):
        yield "\n".join([_DROP_IN, *lines])
    yield from (_SETTINGS, _FOR_PEOPLE)
    if settings.mqtt.host in LOOPBACK:
        yield "[mqtt] host is this machine: others need a name that reaches it, given with --name"
    yield _KEEP


def _drop_in(host: str, *, certificates: bool) -> Iterator[str]:
    """What the service needs beside what its unit says."""
    if certificates:
        yield from (_LOADED.format(name=name) for name in ("mqtt-client-certificate", "mqtt-client-key"))
    if host not in LOOPBACK:
        yield _ELSEWHERE.format(address=_address(host))


def _address(host: str) -> str:
    try:
        return str(ip_address(host))
    except ValueError:
        return f"ADDRESS-OF-{host}"


def _words(folder: Path, settings: Settings) -> dict[str, str]:
    return {
        "folder": str(folder),
        "home": texts.HOME,
        "ca_file": _CA_FILE,
        "host": settings.mqtt.host,
        "port": str(texts.PORT),
        "box": settings.site.device_id,
        "ends": ends(folder),
    }


def _known(box: str, *, certificates: bool) -> dict[str, str]:
    """The words that differ by what users are known by."""
    if not certificates:
        return {
            "passwd": "passwd ",
            "ours": _BY_WORD.format(password=texts.password_file(box)),
            "known_by": _KNOWN_BY_WORD.format(box=box),
            "phone": _PHONE_BY_WORD,
            "watch": _WATCH_BY_WORD,
            "secrets": "passwords",
        }
    certificate, key = texts.certificate_files(box)
    return {
        "passwd": "",
        "ours": _BY_CERTIFICATE.format(certificate=certificate, key=key),
        "known_by": _KNOWN_BY_CERTIFICATE,
        "phone": _PHONE_BY_CERTIFICATE,
        "watch": _WATCH_BY_CERTIFICATE,
        "secrets": "keys of the users",
    }


def _not_proven(folder: Path) -> int:
    print(f"evenwater broker: do not use the files in {folder} as they are: see what failed", file=sys.stderr)
    return NOT_PROVEN


def _silent(_text: str) -> None:
    """A program reads the JSON value instead."""
