"""Whom the link trusts and by what it is known: authority, client certificate, and what a refusal means.

Passwords, keys and certificates of the box come from files below $CREDENTIALS_DIRECTORY, which the service
manager hands over; the settings only name them.

    $CREDENTIALS_DIRECTORY/mqtt-password            password_credential
                          /mqtt-client-certificate  client_certificate_credential
                          /mqtt-client-key          client_key_credential
                          /key-NAME                 release_controllers
"""

from __future__ import annotations

import ssl
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from config.settings import Mqtt

SHORTEST_KEY = 32  # bytes of a controller's key
UNKNOWN_AUTHORITY = frozenset({2, 7, 18, 19, 20, 21})  # X509_V_ERR_...: no or another issuer, a bad signature
NOT_YET, ENDED, OTHER_NAME, OTHER_ADDRESS = 9, 10, 62, 64
"""Numbers of openssl's x509_vfy.h, which are part of its interface: see verify(1), "Diagnostics"."""
_ASKS_FOR_OURS = "CERTIFICATE_REQUIRED"  # alert 116 of TLS 1.3 (RFC 8446, 6.2); 1.2 has only handshake_failure
_SHOW_ONE = (
    "set [mqtt] client_certificate_credential and client_key_credential (for evenwater watch --certificate-file "
    "and --key-file); evenwater broker --certificates makes them"
)
_OURS_REFUSED = {
    "UNKNOWN_CA": "the broker does not know the authority that signed it: make it with the broker's own",
    "CERTIFICATE_EXPIRED": "it has ended, or the broker's clock is wrong: evenwater broker makes a new one",
    "BAD_CERTIFICATE": "the broker does not accept it: was it made for clients (clientAuth)?",
    "CERTIFICATE_REVOKED": "the broker's list says it was revoked: make a new one",
    "UNSUPPORTED_CERTIFICATE": "it was not made for clients: it needs the use clientAuth",
}


class MqttSettingsError(ValueError):
    """`[mqtt]` cannot be used as written. The message names the key and what to do."""


@dataclass(frozen=True, slots=True)
class Trust:
    """What one end of a TLS connection needs. certificate_file, key_file: its own, None without."""

    ca_file: Path
    certificate_file: Path | None = None
    key_file: Path | None = None

    def context(self) -> ssl.SSLContext:
        """The server is always checked: its authority and its name. Read anew, so that a new file serves at once.

        Raises MqttSettingsError where a file cannot be used.
        """
        try:
            context = ssl.create_default_context(cafile=self.ca_file)
        except OSError as error:
            raise MqttSettingsError(
                f'[mqtt] tls_ca_file = "{self.ca_file}": cannot be used ({error}); '
                "give the certificate (PEM) that signed the broker's"
            ) from error
        if self.certificate_file is not None:
            self._show_ours(context, self.certificate_file)
        return context

    def _show_ours(self, context: ssl.SSLContext, certificate_file: Path) -> None:
        try:
            context.load_cert_chain(certificate_file, self.key_file, password=_no_passphrase)
        except (OSError, MqttSettingsError) as error:
            raise MqttSettingsError(
                f"[mqtt] client certificate {certificate_file} with its key {self.key_file}: cannot be used "
                f"({error}); give both as PEM, the key without a passphrase and made for this certificate"
            ) from error


def _no_passphrase() -> str:
    raise MqttSettingsError("the key asks for a passphrase, and nobody is there to type it")


def read_trust(settings: Mqtt, environ: Mapping[str, str]) -> Trust | None:
    """What `[mqtt]` says of TLS, tried once; None where it says nothing. Raises MqttSettingsError."""
    certificate, key = settings.client_certificate_credential, settings.client_key_credential
    if settings.tls_ca_file is None:
        return None
    ours = (
        None if certificate is None else _credential("client_certificate_credential", certificate, environ),
        None if key is None else _credential("client_key_credential", key, environ),
    )
    trust = Trust(Path(settings.tls_ca_file), *ours)
    trust.context()
    return trust


def read_password(settings: Mqtt, environ: Mapping[str, str]) -> str | None:
    """The password from the file `password_credential` below $CREDENTIALS_DIRECTORY; None where none is named.

    Raises MqttSettingsError where the file is missing, unreadable or empty: nobody connects without it.
    """
    if settings.password_credential is None:
        return None
    file = _credential("password_credential", settings.password_credential, environ)
    where = f'[mqtt] password_credential = "{file.name}"'
    password = _read(file, where).strip(b"\r\n")
    if not password:
        raise MqttSettingsError(
            f"{where}: the file in {file.parent} is empty; write the broker's password into it"
        )
    try:
        return password.decode()
    except UnicodeDecodeError as error:
        raise MqttSettingsError(f"{where}: the file in {file.parent} is no text ({error.reason})") from error


def read_keys(settings: Mqtt, environ: Mapping[str, str]) -> dict[str, bytes]:
    """The keys of controllers that may release, each from the file `key-NAME` below $CREDENTIALS_DIRECTORY.

    Raises MqttSettingsError where one is missing, unreadable or too short.
    """
    return {name: _key(name, environ) for name in settings.release_controllers}


def _key(name: str, environ: Mapping[str, str]) -> bytes:
    where = f'[mqtt] release_controllers "{name}"'
    key = _read(_below(where, f"key-{name}", environ), f"{where}: key-{name}").strip(b"\r\n")
    if len(key) < SHORTEST_KEY:
        raise MqttSettingsError(
            f"{where}: key-{name} has {len(key)} bytes, at least {SHORTEST_KEY} are needed: openssl rand -hex 32"
        )
    return key


def _credential(key: str, name: str, environ: Mapping[str, str]) -> Path:
    return _below(f'[mqtt] {key} = "{name}"', name, environ)


def _below(where: str, name: str, environ: Mapping[str, str]) -> Path:
    """The file of one credential. where: what asks for it, for the message."""
    folder = environ.get("CREDENTIALS_DIRECTORY")
    if not folder:
        raise MqttSettingsError(
            f"{where}: $CREDENTIALS_DIRECTORY is not set; run as the service, whose unit names {name} with "
            "LoadCredential=, or set it to the folder that holds the file"
        )
    if Path(name).name != name:
        raise MqttSettingsError(f"{where}: must be a file name without a folder")
    return Path(folder, name)


def _read(file: Path, where: str) -> bytes:
    try:
        return file.read_bytes()
    except OSError as error:
        raise MqttSettingsError(f"{where}: cannot be read from {file.parent} ({error})") from error


def end_of(certificate: Mapping[str, Any] | None) -> datetime | None:
    """When a certificate ends, UTC; None where that is not known. certificate: as `ssl` gives it."""
    ends = (certificate or {}).get("notAfter")
    return None if ends is None else datetime.fromtimestamp(ssl.cert_time_to_seconds(ends), UTC)


# what a refusal means


def explained(error: OSError, settings: Mqtt, now: datetime | None = None) -> str:
    """Why no connection came to be, and what to do. now: the box's clock, UTC."""
    if isinstance(error, ssl.SSLCertVerificationError):
        return _of_their_certificate(error, settings, now or datetime.now(UTC))
    if isinstance(error, ssl.SSLError):
        return of_alert(str(error), ours=settings.client_certificate_credential) or _not_tls(error)
    if settings.tls_ca_file is not None and isinstance(error, ConnectionResetError):
        return _not_tls(error)
    return str(error)


def _of_their_certificate(error: ssl.SSLCertVerificationError, settings: Mqtt, now: datetime) -> str:
    code, clock, said = error.verify_code, f"this box's clock says {now:%Y-%m-%d %H:%M} UTC", error.verify_message
    if code in (OTHER_NAME, OTHER_ADDRESS):
        return (
            f'the broker\'s certificate is not made for "{settings.host}" ({said}): write the name that it is '
            "made for as [mqtt] host, or have it made for this one too (evenwater broker --name)"
        )
    if code == NOT_YET:
        return (
            f"the broker's certificate is not valid yet, and {clock}: the clock is probably wrong. Set it right "
            "(timedatectl; does the box reach a time server?)"
        )
    if code == ENDED:
        return (
            f"the broker's certificate has ended, and {clock}. If the clock is right, the broker needs a new "
            "one: evenwater broker"
        )
    if code in UNKNOWN_AUTHORITY:
        return (
            f"the broker's certificate is not signed by {settings.tls_ca_file} ({said}): copy the authority's "
            "certificate (ca.pem) from where the broker's was made; if it is the right one, this may be another "
            "broker"
        )
    return f"the broker's certificate was refused: {said}"


def of_alert(text: str, *, ours: object) -> str:
    """What the broker said of our certificate, by the name of its TLS alert in `text`; "" where it said nothing.

    ours: None where none is shown. TLS 1.3 tells only after the handshake, at the first read.
    """
    if _ASKS_FOR_OURS in text or (ours is None and "HANDSHAKE_FAILURE" in text):
        return f"the broker asks for a client certificate, and none is shown: {_SHOW_ONE}"
    for alert, meaning in _OURS_REFUSED.items():
        if f"ALERT_{alert}" in text:
            return f"the broker refused the client certificate: {meaning}"
    return ""


def _not_tls(error: OSError) -> str:
    return (
        f"no TLS can be spoken there ({error}): is this the broker's port for TLS (usually 8883)? For a broker "
        "without TLS take tls_ca_file out of [mqtt]"
    )


def of_silence(settings: Mqtt) -> str:
    """What to look at where the broker hangs up before it has answered CONNECT."""
    if settings.tls_ca_file is None:
        return "; does this port speak TLS? Then set [mqtt] tls_ca_file, else look at the broker's log"
    if settings.client_certificate_credential is None:
        return f"; if the broker asks for a client certificate (its log tells), {_SHOW_ONE}"
    return "; perhaps it refused the client certificate: its log tells why"
