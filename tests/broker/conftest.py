"""Files of a broker for the invented school garden, made once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from config.load import load
from config.settings import Settings
from daemon.broker.make import make
from tests.brokers import MOSQUITTO

GARDEN_FILE = Path(__file__).parents[2] / "config/rigs/quince-lane.toml"
needs_mosquitto = pytest.mark.skipif(
    MOSQUITTO is None or shutil.which("mosquitto_passwd") is None or shutil.which("openssl") is None,
    reason="mosquitto or openssl is not installed",
)


@pytest.fixture(scope="session")
def garden() -> Settings:
    """The settings of the school garden."""
    return load(GARDEN_FILE)


@pytest.fixture(scope="session")
def pristine(garden: Settings, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder of files as they are made, to be copied."""
    folder = tmp_path_factory.mktemp("broker") / "files"
    make(folder, garden, ["broker.local"])
    return folder


@pytest.fixture(scope="session")
def pristine_by_certificate(garden: Settings, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same where each user has a certificate."""
    folder = tmp_path_factory.mktemp("broker-by-certificate") / "files"
    make(folder, garden, certificates=True)
    return folder


@pytest.fixture
def by_certificate(pristine_by_certificate: Path, tmp_path: Path) -> Path:
    """That in a folder of one's own, to spoil."""
    return shutil.copytree(pristine_by_certificate, tmp_path / "by-certificate")


@pytest.fixture
def files(pristine: Path, tmp_path: Path) -> Path:
    """The same in a folder of one's own, to spoil."""
    return shutil.copytree(pristine, tmp_path / "files")
