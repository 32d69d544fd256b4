"""`python -m tests.page.pictures`: docs/page-*.png, the page on a phone and on a desk, light and dark.

A day and a half of the school garden is lived on a stepped bench; then its daemon and its page run as always,
and Debian's chromium takes the pictures. Everything in them is invented.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Literal

from playwright.sync_api import Browser, Page, ViewportSize, expect

from daemon.service import settings_with
from tests.at_the_tank import at_the_tank, one_bed
from tests.brokers import HOUSE
from tests.page.browser import passwords
from tests.page.chromium.house import CHROMIUM, DESK, FASTER, MIX, PHONE, House, chromium, log_in
from tests.scenarios.site import Site

LIVED_H, UNPLUGGED_H = 36.0, (20.0, 21.0)
HOUR_S = 3600.0
LONGEST_PX = 1200
LARGEST = 200_000  # bytes of one picture
Scheme = Literal["light", "dark"]
Show = Callable[[Page, House], None]


@dataclass(frozen=True, slots=True)
class Picture:
    """docs/page-NAME.png: what is shown, on which screen, in which light."""

    name: str
    show: Show
    size: ViewportSize
    scheme: Scheme


def a_view(path: str) -> Show:
    """As it opens."""

    def show(page: Page, _: House) -> None:
        page.goto(path)

    return show


def calibrating(page: Page, house: House) -> None:
    """A pH probe at rest in its second buffer, the first point taken."""
    page.goto("/calibrate?reservoir=bed1&quantity=ph")
    page.get_by_role("button", name="Begin").click()
    for standard in ("7.00", "4.01"):
        house.site.bench("dip", "ph", standard)
        page.get_by_role("button", name="look afresh").click()
        expect(page.get_by_text("✓ At rest", exact=False)).to_be_visible()
        if standard == "7.00":
            page.get_by_label("Which bottle it is in").select_option(standard)
            page.get_by_role("button", name="Take this point").click()


PICTURES = (
    Picture("now-phone-light", a_view("/"), PHONE, "light"),
    Picture("now-phone-dark", a_view("/"), PHONE, "dark"),
    Picture("now-desk-light", a_view("/"), DESK, "light"),
    Picture("trend-desk-light", a_view("/trend?span=day"), DESK, "light"),
    Picture("trend-desk-dark", a_view("/trend?span=day"), DESK, "dark"),
    Picture("alarms-phone-light", a_view("/alarms"), PHONE, "light"),
    Picture("crop-phone-light", a_view("/crop"), PHONE, "light"),
    Picture("mix-desk-light", a_view("/crop/mix"), DESK, "light"),
    Picture("rig-phone-dark", a_view("/rig"), PHONE, "dark"),
    Picture("away-phone-light", a_view("/rig/away"), PHONE, "light"),
    Picture("settings-desk-light", a_view("/settings"), DESK, "light"),
    Picture("calibrate-phone-light", calibrating, PHONE, "light"),
)


def lived(folder: Path) -> None:
    """A day and a half in this state folder, up to now, with an hour in which the EC probe is unplugged."""
    settings = settings_with(one_bed(), site={"pass_every_s": 60.0})
    begun = datetime.now(UTC) - timedelta(hours=LIVED_H)
    with at_the_tank(folder, settings, start_utc=begun) as at:
        at.service.run(UNPLUGGED_H[0] * HOUR_S)
        at.bench.play("unplug", probe="ec")
        at.service.run((UNPLUGGED_H[1] - UNPLUGGED_H[0]) * HOUR_S)
        at.bench.play("plug", probe="ec")
        at.service.run((LIVED_H - UNPLUGGED_H[1]) * HOUR_S - 60.0)


def take(browser: Browser, house: House, folder: Path) -> Iterator[tuple[str, int]]:
    """Take each picture; its name and how many bytes it has."""
    for picture in PICTURES:
        context = log_in(browser, house.url, picture.size)
        page = context.new_page()
        page.emulate_media(color_scheme=picture.scheme)
        picture.show(page, house)
        path = folder / f"page-{picture.name}.png"
        high = min(LONGEST_PX, int(page.evaluate("document.documentElement.scrollHeight")))
        page.set_viewport_size({"width": picture.size["width"], "height": high})
        page.screenshot(path=path)
        context.close()
        yield path.name, path.stat().st_size


def main() -> int:
    """Take them all; 1 where one is too large, or there is no browser."""
    if CHROMIUM is None:
        print("no chromium to look with: sh .ci/browser", file=sys.stderr)
        return 1
    with tempfile.TemporaryDirectory(prefix="evenwater-") as name:
        folder = Path(name)
        site = Site(folder, time_factor=FASTER)
        site.set("garden", mix_file=str(MIX))
        lived(site.state)
        passwords(site.state, guest=False)
        with site.running() as daemon, chromium() as browser:
            house = House(folder, site, daemon)
            site.until_passes(60)
            with house.serving() as house.url:
                sizes = dict(take(browser, house, HOUSE / "docs"))
    for file, size in sizes.items():
        print(f"docs/{file}: {size / 1000:.0f} kB{'' if size < LARGEST else ', too large'}")
    return 0 if max(sizes.values()) < LARGEST else 1


if __name__ == "__main__":
    sys.exit(main())
