"""Each view on a phone, light and dark: what it weighs, what shuts people out of it, how it is reached."""

from __future__ import annotations

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.page.chromium.house import DESK, VIEWS, House, complaints, log_in, shut_out

LARGEST_VIEW = 200_000  # bytes, with all that it brings along
PROBE = "/calibrate?reservoir=bed1&quantity=ph"


@pytest.mark.parametrize("path", [*VIEWS, PROBE])
def test_a_view_shuts_nobody_out(phone: Page, path: str) -> None:
    """axe finds nothing grave in light and dark; nothing sticks out at 360 px; the policy forbids nothing."""
    said = complaints(phone)
    phone.goto(path)
    assert shut_out(phone) == []
    assert said == []


def test_all_of_it_is_named_and_opened_without_shutting_anybody_out(phone: Page) -> None:
    """With every fold of a view open."""
    for path in ("/settings", "/trend", "/crop", "/doses", "/"):
        phone.goto(path)
        phone.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
        assert shut_out(phone) == [], path


def test_the_first_view_is_small(phone: Page, house: House) -> None:
    """Everything that a phone fetches for it, and nothing of anybody else's."""
    fetched: dict[str, int] = {}
    phone.on(
        "response",
        lambda answer: fetched.update({answer.url: len(answer.body())}) if "events" not in answer.url else None,
    )
    phone.goto("/", wait_until="load")
    phone.wait_for_function("document.readyState === 'complete'")
    assert len(fetched) >= 3
    assert sum(fetched.values()) < LARGEST_VIEW
    assert all(url.startswith(house.url) for url in fetched)


def test_it_is_used_by_keyboard_alone(phone: Page) -> None:
    """The first stop leads past the links; what has the focus shows it; a fold opens by it."""
    phone.goto("/")
    phone.keyboard.press("Tab")
    skip = phone.get_by_role("link", name="To the content")
    expect(skip).to_be_focused()
    expect(skip).to_be_in_viewport()
    phone.keyboard.press("Enter")
    for _ in range(12):
        phone.keyboard.press("Tab")
        if phone.evaluate("document.activeElement.textContent") == "Pause dosing":
            break
    outline = phone.evaluate("getComputedStyle(document.activeElement).outlineStyle")
    assert outline == "solid"
    phone.keyboard.press("Enter")
    expect(phone.get_by_label("Why, for whoever looks later")).to_be_visible()


def test_every_view_is_reached_from_every_other(browser: Browser, house: House) -> None:
    """By the links at the top, on a wide screen as well."""
    context = log_in(browser, house.url, DESK)
    page = context.new_page()
    page.goto("/")
    for name in ("Trend", "Doses", "Alarms", "Crop", "Calibrate", "Rig", "Settings", "Now"):
        page.get_by_role("navigation", name="Views").get_by_role("link", name=name).click()
        expect(page.get_by_role("navigation", name="Views").locator("[aria-current=page]")).to_have_text(name)
        expect(page.locator("h1")).to_have_count(1)
    context.close()


def test_a_trend_is_looked_at_closer_and_kept(phone: Page) -> None:
    """Closer and earlier by links, any time by a form, what is shown as a table."""
    phone.goto("/trend?span=day")
    phone.get_by_role("link", name="Closer").click()
    phone.get_by_role("link", name="Earlier").click()
    expect(phone.get_by_role("link", name="Later")).to_be_visible()
    phone.get_by_text("Another time").click()
    phone.get_by_label("from, UTC").fill("2026-03-02T00:00")
    phone.get_by_label("to, UTC").fill("2026-03-01T00:00")
    phone.get_by_role("button", name="Show this time").click()
    expect(phone.get_by_role("alert").first).to_contain_text("must be at least half an hour before")
    phone.goto("/crop")
    with phone.expect_download() as tasks:
        phone.get_by_role("link", name="All tasks for a calendar").click()
    assert tasks.value.suggested_filename == "garden.ics"
    assert tasks.value.path().read_text().startswith("BEGIN:VCALENDAR")
    phone.goto("/trend?span=hours")
    with phone.expect_download() as kept:
        phone.get_by_role("link", name="What is shown, as CSV").click()
    assert kept.value.suggested_filename == "trend.csv"
    assert kept.value.path().read_text().startswith("from_utc,reservoir,quantity,unit,lowest,mean,highest")
