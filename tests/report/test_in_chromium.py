"""The page of a report in Debian's own browser: on a phone, in the dark, and what it asks for."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, sync_playwright

from daemon.cli.report import STYLES
from daemon.report.facts import Facts
from daemon.report.page import document

CHROMIUM = shutil.which("chromium")
Scheme = Literal["light", "dark"]
SCHEMES: tuple[Scheme, ...] = ("light", "dark")
NARROW = 360
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium here: apt-get install chromium")


@pytest.fixture(scope="module")
def page_file(facts: Facts, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """With its style sheets, as the command writes it."""
    style = "".join((files("daemon.page") / "static" / name).read_text(encoding="utf-8") for name in STYLES)
    file = tmp_path_factory.mktemp("page") / "report.html"
    file.write_text(document(facts, style), encoding="utf-8")
    return file


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """Without a window."""
    with sync_playwright() as play:
        arguments = ["--no-sandbox"] if os.geteuid() == 0 else []
        browser = play.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield browser
        browser.close()


@pytest.mark.parametrize("scheme", SCHEMES)
def test_nobody_is_shut_out_on_a_phone(
    browser: Browser, page_file: Path, scheme: Literal["light", "dark"]
) -> None:
    """Nothing is wider than the phone, axe finds nothing grave, no script ran, nothing was asked for."""
    context = browser.new_context(viewport={"width": NARROW, "height": 740}, color_scheme=scheme, bypass_csp=True)
    page = context.new_page()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("dialog", lambda dialog: asked.append(dialog.message))
    page.goto(page_file.as_uri())
    assert page.evaluate("document.documentElement.scrollWidth") <= NARROW
    found = Axe().run(page).response["violations"]
    assert [(each["id"], each["help"]) for each in found if each["impact"] in ("serious", "critical")] == []
    assert asked == [page_file.as_uri()]
    context.close()


def test_it_is_printed_light_and_whole(browser: Browser, page_file: Path, tmp_path: Path) -> None:
    """In the dark too: paper is white; tables do not scroll on it."""
    context = browser.new_context(color_scheme="dark")
    page = context.new_page()
    page.goto(page_file.as_uri())
    page.emulate_media(media="print")
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    assert page.evaluate("getComputedStyle(document.querySelector('.wide')).overflowX") == "visible"
    assert page.pdf(format="A4").startswith(b"%PDF")
    context.close()
