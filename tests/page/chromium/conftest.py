"""One browser and one daemon for each module."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page

from tests.page.chromium.house import CHROMIUM, House, chromium, lived_in, log_in


@pytest.fixture(scope="module")
def house() -> Iterator[House]:
    """The school garden, kept on the simulated rig, with its page."""
    if CHROMIUM is None:
        pytest.skip("no chromium to look with: sh .ci/browser")
    with tempfile.TemporaryDirectory(prefix="evenwater-") as folder, lived_in(Path(folder)) as house:
        yield house


@pytest.fixture(scope="module")
def browser(house: House) -> Iterator[Browser]:
    """Debian's chromium."""
    with chromium() as browser:
        yield browser


@pytest.fixture
def phone(house: House, browser: Browser) -> Iterator[Page]:
    """A phone, held upright, whose person has logged in."""
    context = log_in(browser, house.url)
    yield context.new_page()
    context.close()
