"""The files of a broker: made where they are missing, never overwritten, readable to their owner only."""

from __future__ import annotations

import os
import secrets
import shutil
import subprocess
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from ipaddress import ip_address
from pathlib import Path
from tempfile import TemporaryDirectory

from config.settings import Settings
from daemon.broker import texts

CA_DAYS = 3650
BROKER_DAYS = 820  # phones refuse a server's certificate that is good for more than 825 (from memory)
PRIVATE, PUBLIC = 0o600, 0o644
ALWAYS_NAMED = ("localhost", "127.0.0.1")  # so that the box's own machine, and the proof, can check it
TOOL_S = 60.0  # that openssl or mosquitto_passwd may take on a small board
PACKAGES = {"openssl": "openssl", "mosquitto_passwd": "mosquitto", "mosquitto": "mosquitto"}

_REQUEST = """\
[req]
distinguished_name = name
prompt = no
[name]
CN = {common_name}
[authority]
basicConstraints = critical, CA:TRUE, pathlen:0
keyUsage = critical, keyCertSign, cRLSign
subjectKeyIdentifier = hash
[server]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = serverAuth
subjectKeyIdentifier = hash
authorityKeyIdentifier = keyid
subjectAltName = {names}
[client]
basicConstraints = critical, CA:FALSE
keyUsage = critical, digitalSignature
extendedKeyUsage = clientAuth
subjectKeyIdentifier = hash
authorityKeyIdentifier = keyid
"""


class BrokerError(Exception):
    """The files cannot be made or used. The message says which, why and what to do."""


def tool(name: str) -> str:
    """Where a program of the system is. Raises BrokerError that names the Debian package it comes with."""
    found = shutil.which(name) or shutil.which(name, path="/usr/sbin:/usr/local/sbin")
    if found is None:
        raise BrokerError(f"{name} is not installed: sudo apt-get install {PACKAGES[name]}")
    return found


def make(
    folder: Path, settings: Settings, more_names: Sequence[str] = (), *, certificates: bool = False
) -> list[str]:
    """Make what is missing in the folder; the names of the files made, [] where all were there.

    more_names: by which clients reach the broker, beside [mqtt] host. certificates: one for each user, in place
    of a password. Raises BrokerError before anything is written where a tool is missing, a name cannot be used,
    or files that belong together are there only in part.
    """
    box = settings.site.device_id
    _refuse_name(box)
    names = _checked_names([*ALWAYS_NAMED, settings.mqtt.host, *more_names])
    _refuse_other_kind(folder, certificates)
    groups = _groups(box, certificates=certificates)
    missing = [group for group in groups if _is_missing(folder, group)]
    _refuse_unsigned(folder, missing)
    for name in ("openssl", "mosquitto_passwd"):
        tool(name)
    made: dict[str, bytes] = {}
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        with TemporaryDirectory(dir=folder, prefix=".making-") as scratch:
            for group in missing:
                made |= _made(group, Order(settings, names, folder, Path(scratch), certificates))
        for name, content in made.items():
            _write_new(folder / name, content)
    except OSError as error:
        raise BrokerError(f"{folder}: cannot be written ({error})") from error
    return list(made)


def goes_by_certificates(folder: Path) -> bool:
    """Whether the configuration in the folder asks users for certificates. Raises BrokerError."""
    file = folder / texts.CONFIGURATION
    try:
        return texts.goes_by_certificates(file.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise BrokerError(f"{file}: cannot be read ({error})") from error


def ends(folder: Path) -> str:
    """The day on which the broker's certificate ends, in openssl's words. Raises BrokerError."""
    said = _openssl("x509", "-in", str(folder / texts.BROKER), "-noout", "-enddate")
    return said.strip().removeprefix("notAfter=")


def _groups(box: str, *, certificates: bool) -> list[tuple[str, ...]]:
    """Files that are made together. Whoever moved the authority's key to a safe place keeps its certificate."""
    by_word = [(texts.PASSWORDS, *(texts.password_file(user) for user in texts.users(box)))]
    by_certificate = [texts.certificate_files(user) for user in texts.users(box)]
    return [
        (texts.CA,),
        (texts.BROKER, texts.BROKER_KEY),
        *(by_certificate if certificates else by_word),
        (texts.ACL,),
        (texts.CONFIGURATION,),
    ]


def _is_missing(folder: Path, group: Sequence[str]) -> bool:
    there = [name for name in group if (folder / name).exists()]
    if there and len(there) < len(group):
        absent = ", ".join(name for name in group if name not in there)
        raise BrokerError(
            f"{folder}: {absent} not there, but {', '.join(there)}, which belongs to it: bring it back, or move "
            "the rest away and have all made anew. Nothing was written"
        )
    return not there


def _refuse_name(box: str) -> None:
    if box in (texts.PANEL, texts.WATCH):
        raise BrokerError(f'[site] device_id = "{box}": a user of the broker has that name; choose another')


def _refuse_other_kind(folder: Path, certificates: bool) -> None:
    """A folder goes by passwords or by certificates, never half by each."""
    if not (folder / texts.CONFIGURATION).exists():
        return
    there = goes_by_certificates(folder)
    if there is not certificates:
        goes_by, asked = ("certificates", "passwords") if there else ("passwords", "certificates")
        raise BrokerError(
            f"{folder}: its {texts.CONFIGURATION} goes by {goes_by}, and {asked} were asked for "
            f"(--certificates): move {texts.CONFIGURATION} away to change over. Nothing was written"
        )


def _refuse_unsigned(folder: Path, missing: Sequence[Sequence[str]]) -> None:
    """An authority is not made beside certificates of another, and signs only with its key."""
    wanted = {name for group in missing for name in group}
    authority_there = texts.CA not in wanted
    signed = [name for group in missing for name in group[:1] if name.endswith(".pem") and name != texts.CA]
    if signed and authority_there and not (folder / texts.CA_KEY).exists():
        raise BrokerError(f"{folder}: {texts.CA_KEY} is needed to sign {', '.join(signed)}: bring it back")
    if authority_there:
        return
    orphans = [texts.BROKER, texts.CA_KEY, *(file.name for file in sorted(folder.glob("client-*.pem")))]
    for name in orphans:
        if (folder / name).exists():
            raise BrokerError(f"{folder}: {name} is there, but not {texts.CA} that belongs to it: bring it back")


def _checked_names(names: Sequence[str]) -> list[str]:
    """Each once, as it stands in a certificate. Raises BrokerError for one that is no name of a host."""
    for name in names:
        if not name or not all(letter.isalnum() or letter in ".-:" for letter in name) or not name.isascii():
            raise BrokerError(f'"{name}" is no name or address of a broker: letters, digits, dots and hyphens')
    return [_subject(name) for name in dict.fromkeys(names)]


def _subject(name: str) -> str:
    try:
        return f"IP:{ip_address(name)}"
    except ValueError:
        return f"DNS:{name}"


@dataclass(frozen=True, slots=True)
class Order:
    """What is to be made: for which box, by which names its broker is reached, where, and how users are known."""

    settings: Settings
    names: Sequence[str]
    folder: Path
    scratch: Path
    certificates: bool

    @property
    def authority(self) -> Path:
        """Where the files of the authority are: just made, or of before."""
        return self.scratch if (self.scratch / texts.CA).exists() else self.folder


def _made(group: Sequence[str], order: Order) -> Mapping[str, bytes]:
    """The contents of one group, by file name. The authority comes first and waits in `scratch` for the rest."""
    box = order.settings.site.device_id
    if texts.CA in group:
        return _authority(order.scratch)
    if texts.BROKER in group:
        return _certificate(order, group, "Evenwater broker", "server", BROKER_DAYS)
    if texts.PASSWORDS in group:
        return _passwords(texts.users(box), order.scratch)
    for user in texts.users(box):
        if tuple(group) == texts.certificate_files(user):
            return _certificate(order, group, user, "client", CA_DAYS)
    if texts.ACL in group:
        return {texts.ACL: texts.acl(box, order.settings.mqtt).encode()}
    return {texts.CONFIGURATION: texts.configuration(box, certificates=order.certificates).encode()}


def _authority(scratch: Path) -> Mapping[str, bytes]:
    asking = scratch / "authority.cnf"
    asking.write_text(_REQUEST.format(common_name="Evenwater authority", names="DNS:localhost"))
    key, certificate = scratch / texts.CA_KEY, scratch / texts.CA
    whole = ["-x509", "-days", str(CA_DAYS), "-extensions", "authority", "-out", str(certificate)]
    _openssl("req", "-config", str(asking), *_new_key(key), *whole)
    return _contents(key, certificate)


def _certificate(
    order: Order, files: Sequence[str], common_name: str, use: str, days: int
) -> Mapping[str, bytes]:
    """A certificate and its key under these names. common_name: whose; use: server or client."""
    certificate, key = (order.scratch / name for name in files)
    asking, request = certificate.with_suffix(".cnf"), certificate.with_suffix(".csr")
    asking.write_text(_REQUEST.format(common_name=common_name, names=",".join(order.names)))
    _openssl("req", "-config", str(asking), *_new_key(key), "-out", str(request))
    signer = ["-CA", str(order.authority / texts.CA), "-CAkey", str(order.authority / texts.CA_KEY)]
    what = ["-extfile", str(asking), "-extensions", use, "-days", str(days)]
    serial = ["-set_serial", str(secrets.randbits(127) + 1)]
    _openssl("x509", "-req", "-in", str(request), *signer, *what, *serial, "-out", str(certificate))
    return _contents(key, certificate)


def _new_key(file: Path) -> Iterator[str]:
    yield from (
        "-new",
        "-nodes",
        "-newkey",
        "ec",
        "-pkeyopt",
        "ec_paramgen_curve:prime256v1",
        "-keyout",
        str(file),
    )


def _passwords(users: Sequence[str], scratch: Path) -> Mapping[str, bytes]:
    """The words never stand in a command line, where every user of the machine could read them."""
    words = {user: secrets.token_urlsafe(24) for user in users}
    hashed = scratch / texts.PASSWORDS
    hashed.write_text("".join(f"{user}:{word}\n" for user, word in words.items()))
    _ran([tool("mosquitto_passwd"), "-U", str(hashed)])
    return _contents(hashed) | {texts.password_file(user): f"{word}\n".encode() for user, word in words.items()}


def _openssl(*words: str) -> str:
    return _ran([tool("openssl"), *words])


def _ran(command: Sequence[str]) -> str:
    """What it prints."""
    try:
        return subprocess.run(command, check=True, capture_output=True, timeout=TOOL_S, text=True).stdout
    except subprocess.CalledProcessError as error:
        raise BrokerError(f"{command[0]} {command[1]} failed: {error.stderr.strip()}") from error
    except subprocess.TimeoutExpired as error:
        raise BrokerError(f"{command[0]} {command[1]} took longer than {TOOL_S:g} s") from error


def _contents(*files: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in files}


def _write_new(file: Path, content: bytes) -> None:
    """Fails where the file is there: also one that came meanwhile."""
    mode = PUBLIC if file.suffix in (".pem", ".conf") else PRIVATE
    with open(os.open(file, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode), "wb") as new:
        new.write(content)
