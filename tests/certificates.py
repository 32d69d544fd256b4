"""Authorities and certificates for tests, made by openssl itself, good or spoilt in one way."""

from __future__ import annotations

import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

OPENSSL = shutil.which("openssl")
_CONFIGURATION = """\
[ca]
default_ca = here
[here]
new_certs_dir = {folder}
database = {folder}/index.txt
certificate = {folder}/{name}.pem
private_key = {folder}/{name}.key
default_md = sha256
rand_serial = yes
unique_subject = no
policy = any
[any]
commonName = supplied
[server]
basicConstraints = critical, CA:FALSE
extendedKeyUsage = serverAuth
subjectAltName = {subject}
[client]
basicConstraints = critical, CA:FALSE
extendedKeyUsage = clientAuth
"""


class Authority:
    """One that signs. Its files are NAME.pem and NAME.key in the folder."""

    def __init__(self, folder: Path, name: str = "ca") -> None:
        self._folder, self._name = folder, name
        self.file = folder / f"{name}.pem"
        self._new(
            "-x509", "-days", "9", "-addext", "keyUsage=critical,keyCertSign", "-out", str(self.file), name=name
        )
        (folder / "index.txt").touch()

    def issue(
        self,
        name: str,
        *,
        use: str = "server",
        subject: str = "IP:127.0.0.1",
        from_days: float = -1.0,
        to_days: float = 90.0,
    ) -> tuple[Path, Path]:
        """NAME.pem and NAME.key, good from and to so many days from now. use: server or client."""
        settings, request = self._folder / f"{name}.cnf", self._folder / f"{name}.csr"
        settings.write_text(_CONFIGURATION.format(folder=self._folder, name=self._name, subject=subject))
        certificate = self._folder / f"{name}.pem"
        self._new("-out", str(request), name=name)
        span = ["-startdate", _moment(from_days), "-enddate", _moment(to_days)]
        what = ["-extensions", use, "-in", str(request), "-out", str(certificate)]
        _openssl("ca", "-batch", "-notext", "-config", str(settings), *span, *what)
        return certificate, self._folder / f"{name}.key"

    def _new(self, *more: str, name: str) -> None:
        curve = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1"]
        whose = ["-subj", f"/CN={name}", "-keyout", str(self._folder / f"{name}.key")]
        _openssl("req", "-new", "-nodes", *curve, *whose, *more)


def _moment(days: float) -> str:
    return (datetime.now(UTC) + timedelta(days=days)).strftime("%Y%m%d%H%M%SZ")


def _openssl(*words: str) -> None:
    subprocess.run([str(OPENSSL), *words], check=True, capture_output=True)
