"""A daemon and its page as processes of their own, and a browser to look at it with."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, ViewportSize, expect, sync_playwright

from tests.brokers import HOUSE
from tests.page.browser import HOLDERS, passwords
from tests.scenarios.site import ANY_PYTHON, Site, end, soon

CHROMIUM = shutil.which("chromium")
PHONE = ViewportSize(width=360, height=740)
DESK = ViewportSize(width=1280, height=800)
MIX = HOUSE / "config" / "mixes" / "quince-lane.toml"
PATIENCE_MS = 60_000.0  # on a busy machine; all takes a fraction of it
FASTER = 60.0  # bench seconds a second
SCHEMES: tuple[Literal["light", "dark"], ...] = ("light", "dark")
GRAVE = {"serious", "critical"}
LEAST_TARGET = 44.0  # px, for a wet thumb
_SMALL = """least => [...document.querySelectorAll(
    "button, nav a, summary, input:not([type=hidden]), select, .step")]
  .filter(each => each.checkVisibility())
  .map(each => [each.textContent.trim() || each.name, each.closest("label.check") || each])
  .map(([name, each]) => [name, each.getBoundingClientRect()])
  .filter(([_, box]) => Math.min(box.height, box.width) < least)
  .map(([name, _]) => name)"""
VIEWS = (
    "/",
    "/trend",
    "/doses",
    "/doses/water",
    "/doses/measure",
    "/alarms",
    "/crop",
    "/crop/mix",
    "/crop/growth",
    "/calibrate",
    "/rig",
    "/rig/away",
    "/settings",
)


class House:
    """A site that runs, and the address of its page."""

    def __init__(self, folder: Path, site: Site, daemon: subprocess.Popen[bytes]) -> None:
        self.site, self.daemon, self._folder, self.url = site, daemon, folder, ""

    @contextmanager
    def serving(self, *words: str, port: int = 0) -> Iterator[str]:
        """A page of this site as a process, ended after the block: its address."""
        log = self._folder / f"page-{len(list(self._folder.glob('page-*')))}"
        command = [sys.executable, "-m", "daemon.cli.main", "page", "--port", str(port)]
        with log.open("wb") as file:
            process = subprocess.Popen(
                [*command, "--state", str(self.site.state), *words],
                cwd=HOUSE,
                env=ANY_PYTHON,
                stdout=file,
                stderr=file,
            )
        try:
            soon(lambda: " is at http" in log.read_text() or process.poll() is not None)
            found = re.search(r" is at (http\S+)/ ", log.read_text())
            assert found, log.read_text()
            yield found[1]
        finally:
            end(process)


@contextmanager
def lived_in(folder: Path) -> Iterator[House]:
    """A site whose daemon runs and whose page is served, with a password."""
    site = Site(folder, time_factor=FASTER)
    site.set("garden", mix_file=str(MIX))
    passwords(site.state, guest=False)
    with site.running() as daemon:
        house = House(folder, site, daemon)
        with house.serving() as house.url:
            yield house


@contextmanager
def chromium() -> Iterator[Browser]:
    """Debian's own, without a window."""
    arguments = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=arguments)
        yield browser
        browser.close()


def log_in(browser: Browser, url: str, size: ViewportSize = PHONE) -> BrowserContext:
    """A browser's window whose person has typed the password."""
    context = browser.new_context(base_url=url, viewport=size, has_touch=size is PHONE, reduced_motion="reduce")
    context.set_default_timeout(PATIENCE_MS)
    expect.set_options(timeout=PATIENCE_MS)
    page = context.new_page()
    page.goto("/login")
    page.get_by_label("Password of this page").fill(HOLDERS)
    page.get_by_role("button", name="Log in").click()
    page.get_by_role("heading", name="Now", exact=True).wait_for()
    page.close()
    return context


def shut_out(page: Page) -> list[tuple[str, str]]:
    """What axe finds grave on a page as it stands, in light and dark; what sticks out of a phone."""
    found: list[tuple[str, str]] = []
    for scheme in SCHEMES:
        page.emulate_media(color_scheme=scheme)
        violations = Axe().run(page).response["violations"]
        found += [(each["id"], each["help"]) for each in violations if each["impact"] in GRAVE]
    if page.evaluate("document.documentElement.scrollWidth") > PHONE["width"]:
        found.append(("width", "something sticks out"))
    return found + [("target", name) for name in page.evaluate(_SMALL, LEAST_TARGET)]


def complaints(page: Page) -> list[str]:
    """What the browser itself says against the page from now on: errors, and what its policy forbade."""
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    return said
