"""The page by its own TLS, as a browser on the network meets it."""

from __future__ import annotations

import shutil
import ssl
import subprocess
import urllib.request
from http.client import HTTPException
from pathlib import Path

import pytest

from daemon.page.place import Place
from tests.at_the_tank import AtTheTank
from tests.page.browser import HOLDERS, passwords, serving


def certificate(folder: Path) -> tuple[Path, Path]:
    """One for localhost that it signed itself, and its key."""
    if shutil.which("openssl") is None:
        pytest.skip("no openssl on this machine")
    made, key = folder / "box.pem", folder / "box-key.pem"
    curve = ("-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes")
    names = ("-subj", "/CN=localhost", "-addext", "subjectAltName=DNS:localhost")
    files = ("-keyout", str(key), "-out", str(made))
    subprocess.run(["openssl", "req", "-x509", *curve, *names, *files], check=True, capture_output=True)
    return made, key


def test_it_is_met_by_tls_and_by_nothing_else(tank: AtTheTank, tmp_path: Path) -> None:
    """Its cookie goes by TLS only; an old version of it, and none at all, get nothing."""
    made, key = certificate(tmp_path)
    passwords(tank.service.folder)
    with serving(tank, Place(port=0, certificate=made, key=key)) as looks:
        trusting = ssl.create_default_context(cafile=made)

        def logs_in() -> tuple[int, str]:
            body = f"password={HOLDERS.replace(' ', '+')}&to=/static".encode()
            opener = urllib.request.build_opener(
                urllib.request.HTTPSHandler(context=trusting), urllib.request.HTTPCookieProcessor()
            )
            with opener.open(f"https://localhost:{looks.port}/login", body, timeout=20) as answer:
                return answer.status, answer.read().decode()

        status, text = looks.meanwhile(logs_in)
        assert (status, "Bed 1" in text) == (200, True)
        old = ssl.create_default_context(cafile=made)
        with pytest.warns(DeprecationWarning, match="TLSv1_1"):
            old.maximum_version = ssl.TLSVersion.TLSv1_1
        old.set_ciphers("DEFAULT:@SECLEVEL=0")
        with pytest.raises(OSError, match=r"(?i)ssl|tls|protocol|reset"):
            urllib.request.urlopen(f"https://localhost:{looks.port}/login", timeout=20, context=old)
        with pytest.raises((OSError, HTTPException)):
            looks.asks("GET", "/login")
