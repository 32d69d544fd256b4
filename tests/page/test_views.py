"""The views that ask the daemon more than a snapshot, beside the whole program on a stepped bench."""

from __future__ import annotations

import csv
import html
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from urllib.parse import urlencode

import pytest

from daemon.crop.diary_file import FILE_NAME, event_of, write
from daemon.desk.reach import Reach
from daemon.values import Quantity, VerdictReason
from tests.at_the_tank import RIGS, AtTheTank, at_the_tank, two_beds
from tests.drivers.a_pi import a_pi, change
from tests.page.browser import GUESTS, HOLDERS, Browser, passwords, serving

PH = {"reservoir": "bed1", "quantity": "ph"}
PROBE = f"/calibrate?{urlencode(PH)}"


def words_of(text: str) -> str:
    """What a person reads of it."""
    return html.unescape(re.sub(r"<[^>]+>", " ", text))


def posts(browser: Browser, path: str, **fields: str) -> tuple[int, str]:
    """A form, with the token of a view whose form is there whatever a reservoir does."""
    status, text, _ = browser.asks("POST", path, urlencode({"token": browser.token("/settings"), **fields}))
    return status, text


@pytest.fixture
def beds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[AtTheTank]:
    """Two reservoirs, by settings for a Raspberry Pi that has every barrier but one."""
    root = a_pi(tmp_path / "pi")
    change(root, "run/systemd/timesync/synchronized", None)
    monkeypatch.setattr("daemon.readiness.ROOT", root)
    monkeypatch.setattr("drivers.box.find_spec", lambda module: module)
    folder = tmp_path / "state"
    folder.mkdir()
    with at_the_tank(folder, two_beds(), control=True) as at:
        at.passes(3)
        yield at


def test_the_rig_tells_wires_health_and_barriers(beds: AtTheTank) -> None:
    """As the settings have it, and as `evenwater check` sees it: what is missing comes with what to do."""
    with serving(beds) as browser:
        text = words_of(browser.gets("/rig"))
    for told in (
        "Bed 1, 60 L",
        "Bed 2, 60 L",
        "input 0 of the converter at 0x49 on I2C bus 1",
        "GPIO 17",
        "V now",
    ):
        assert told in text
    assert "● watchdog: ok" in text
    assert re.search(r"✕ clock: missing .* To do: ", text)
    assert "GB free" in text
    assert re.search(r"How it calls you .* It calls nobody: neither", text)


def test_the_rig_tells_how_it_calls_people(browser: Browser, tank: AtTheTank) -> None:
    """Each way with a sign and a word for whether it works; commands as code."""
    tank.service.loop.reach = lambda: (
        Reach("MQTT at b:8883", False, "not connected for 3 h: refused"),
        Reach("way 1 (json)", None, "nothing sent; `evenwater notify --test` tries it"),
    )
    text = browser.gets("/rig")
    assert "✕ MQTT at b:8883: fails" in text
    assert "not connected for 3 h: refused" in text
    assert "◌ way 1 (json): not shown to work yet" in text
    assert "<code>evenwater notify --test</code>" in text


def test_before_one_leaves_the_page_tells_what_lasts(browser: Browser, tank: AtTheTank) -> None:
    """As `evenwater away` does, for the days that are asked for; a slip is told, and the usual days are shown."""
    assert 'href="/rig/away"' in browser.gets("/rig")
    text = words_of(browser.gets("/rig/away"))
    assert "Left alone for 14 days, until 15 Apr 2026" in text
    assert re.search(r"✕ \d to see to, \d not known; \d last", text)
    assert "● lasts  pH probe, calibrated on 2026-04-01: good until 2026-05-31" in text
    assert re.search(
        r"◌ not known  pH down: 992 mL left; .* To do: fill it, then:  evenwater bottle ph_down", text
    )
    assert "pH down: 992 mL left, enough even at its cap" in words_of(browser.gets("/rig/away?days=6"))
    slip = words_of(browser.gets("/rig/away?days=%3Cb%3E"))
    assert "'<b>' is no number of days from 1 to 60." in slip
    assert "Left alone for 14 days" in slip


def test_each_probe_of_each_reservoir_can_be_chosen(beds: AtTheTank) -> None:
    """Not those that nothing is calibrated of."""
    with serving(beds) as browser:
        text = browser.gets("/calibrate")
        assert text.count('class="step"') == 2 * 4
        assert "Calibrate pH of Bed 2" in browser.gets("/calibrate?reservoir=bed2&quantity=ph")
        assert "Calibrate</h1>" in browser.gets("/calibrate?reservoir=bed9&quantity=juice")


def test_without_a_password_the_last_steps_are_typed_at_the_tank(browser: Browser, tank: AtTheTank) -> None:
    """Begin, look and take are offered: they only pause. What could make it dose is a command."""
    assert posts(browser, "/calibrate/begin", **PH)[0] == 303
    tank.passes(1)
    text = browser.gets(PROBE)
    assert "/calibrate/point" in text
    assert "/calibrate/keep" not in text
    for standard in ("7.00", "4.01"):
        tank.bench.play("dip", tank="bed1", probe="ph", standard=standard)
        assert posts(browser, "/calibrate/afresh", **PH)[0] == 303
        tank.passes(12)
        assert posts(browser, "/calibrate/point", standard=standard, **PH)[0] == 303
    text = browser.gets(PROBE)
    assert "evenwater calibrate ph finish" in text
    assert posts(browser, "/calibrate/keep", **PH)[0] == 403
    tank.ask("calibrate.finish", quantity="ph")
    text = browser.gets(PROBE)
    assert "evenwater calibrate ph back" in text
    assert "It is in the water" not in text


def test_a_point_too_early_or_in_no_bottle_is_told(browser: Browser, tank: AtTheTank) -> None:
    """And the way back leads to the probe it was of."""
    posts(browser, "/calibrate/begin", **PH)
    tank.bench.play("dip", tank="bed1", probe="ph", standard="7.00")
    tank.passes(1)
    status, text = posts(browser, "/calibrate/point", standard="7.00", **PH)
    assert status == 409
    assert "not settled yet" in text
    assert html.escape(PROBE) in text
    status, text = posts(browser, "/calibrate/point", standard="7.00", temperature_c="warm", **PH)
    assert status == 400
    assert "is no number" in text


def test_a_guest_follows_and_begins_nothing(guarded: Browser) -> None:
    """No form but the way out; nothing is begun by one that was made up."""
    guarded.logs_in(GUESTS)
    for path in ("/calibrate", PROBE, "/crop", "/rig", "/settings"):
        assert guarded.gets(path).count("<form") == 1, path
    assert posts(guarded, "/calibrate/begin", **PH)[0] == 403
    assert posts(guarded, "/crop/did", task="x")[0] == 403
    assert posts(guarded, "/settings/check", text="x")[0] == 403


def test_the_holder_keeps_one_by_the_password(tank: AtTheTank) -> None:
    """And by it alone; so it is with the word that the probe is back."""
    passwords(tank.service.folder)
    with serving(tank) as browser:
        browser.logs_in(HOLDERS)
        posts(browser, "/calibrate/begin", **PH)
        for standard in ("7.00", "4.01"):
            tank.bench.play("dip", tank="bed1", probe="ph", standard=standard)
            posts(browser, "/calibrate/afresh", **PH)
            tank.passes(12)
            posts(browser, "/calibrate/point", standard=standard, **PH)
        assert posts(browser, "/calibrate/keep", password="wrong", accept="yes", **PH)[0] == 403
        assert tank.ask("calibrate.look", quantity="ph")["kept"] is False
        assert posts(browser, "/calibrate/keep", password=HOLDERS, accept="yes", **PH)[0] == 303
        tank.bench.play("back", tank="bed1", probe="ph")
        assert posts(browser, "/calibrate/back", **PH)[0] == 403
        status, text = posts(browser, "/calibrate/back", password=HOLDERS, **PH)
    assert (status, "Done" in text) == (200, True)
    tank.passes(1)
    assert tank.bed().condition == "keeping"


def test_where_two_bottles_fit_the_signal_none_is_chosen(browser: Browser, tank: AtTheTank) -> None:
    """7.00 may be 6.86: the person reads the label. 4.01 is no other."""
    posts(browser, "/calibrate/begin", **PH)
    for standard, chosen in (("7.00", []), ("4.01", ["4.01"])):
        tank.bench.play("dip", tank="bed1", probe="ph", standard=standard)
        posts(browser, "/calibrate/afresh", **PH)
        tank.passes(12)
        text = browser.gets(PROBE)
        assert f"{standard} (by its signal)" in text
        assert re.findall(r'value="([^"]*)" id="standard-[^"]*" selected', text) == chosen


def test_an_odd_calibration_wants_a_word_for_it(tank: AtTheTank) -> None:
    """6.86 taken as 7.00: what is odd about it is told, and a box has to be ticked."""
    passwords(tank.service.folder)
    with serving(tank) as browser:
        browser.logs_in(HOLDERS)
        posts(browser, "/calibrate/begin", **PH)
        for dipped, label in (("6.86", "7.00"), ("4.01", "4.01")):
            tank.bench.play("dip", tank="bed1", probe="ph", standard=dipped)
            posts(browser, "/calibrate/afresh", **PH)
            tank.passes(12)
            posts(browser, "/calibrate/point", standard=label, **PH)
        text = browser.gets(PROBE)
        assert "looks like a 6.86" in text
        assert 'name="accept"' in text
        status, said = posts(browser, "/calibrate/keep", password=HOLDERS, **PH)
    assert status == 409
    assert "not kept yet" in said


def one_buffer(browser: Browser, tank: AtTheTank, **probe: str) -> str:
    """The probe view with one point taken, and no more."""
    standard = {"ph": "4.01", "ec": "1.413"}[probe["quantity"]]
    posts(browser, "/calibrate/begin", **probe)
    tank.bench.play("dip", tank="bed1", probe=probe["quantity"], standard=standard)
    posts(browser, "/calibrate/afresh", **probe)
    tank.passes(12)
    assert posts(browser, "/calibrate/point", standard=standard, **probe)[0] == 303
    return browser.gets(f"/calibrate?{urlencode(probe)}")


def test_one_buffer_makes_a_stop_gap(tank: AtTheTank) -> None:
    """As at the tank: told for what it is, kept by the password and a word for it, shown and not dosed by."""
    passwords(tank.service.folder)
    with serving(tank) as browser:
        browser.logs_in(HOLDERS)
        text = one_buffer(browser, tank, **PH)
        assert "1 of 2 points taken" in text
        assert "void after 7 days" in text
        assert words_of(text).count("slope") >= 1
        keep = {**PH, "password": HOLDERS}
        assert posts(browser, "/calibrate/keep", **keep, accept="yes")[0] == 409  # two buffers, or say so
        assert posts(browser, "/calibrate/keep", **keep, stop_gap="yes")[0] == 409
        assert posts(browser, "/calibrate/keep", **PH, stop_gap="yes", accept="yes", password="wrong")[0] == 403
        assert tank.ask("calibrate.look", quantity="ph")["kept"] is False
        assert posts(browser, "/calibrate/keep", **keep, stop_gap="yes", accept="yes")[0] == 303
        text = browser.gets(PROBE)
        assert ("never dosed by" in text, "It doses again" in text) == (True, False)
        tank.bench.play("back", tank="bed1", probe="ph")
        assert posts(browser, "/calibrate/back", **keep)[0] == 200
    tank.passes(12)
    assert tank.bed().verdicts[Quantity.PH].reason is VerdictReason.STOP_GAP


def test_without_a_password_a_stop_gap_is_kept_at_the_tank(browser: Browser, tank: AtTheTank) -> None:
    """By the command that is shown; the way of two buffers is not told as one."""
    text = one_buffer(browser, tank, **PH)
    assert "evenwater calibrate ph finish --stop-gap --accept" in text
    assert "/calibrate/keep" not in text
    posts(browser, "/calibrate/cancel", **PH)
    assert "stop-gap" not in one_buffer(browser, tank, reservoir="bed1", quantity="ec")


def test_a_stranger_gets_no_table(guarded: Browser) -> None:
    """Nor does a guest's look need more than the guest's password."""
    assert guarded.asks("GET", "/trend.csv")[0] == 401
    guarded.logs_in(GUESTS)
    assert guarded.asks("GET", "/trend.csv")[0] == 200


def test_what_the_trend_shows_is_kept_as_a_table(browser: Browser, tank: AtTheTank) -> None:
    """Each line's buckets, readable by any spreadsheet."""
    tank.passes(60)
    status, text, headers = browser.asks("GET", "/trend.csv?of=bed1&span=hours")
    assert status == 200
    assert headers["content-type"] == "text/csv; charset=utf-8"
    assert headers["content-disposition"] == 'attachment; filename="trend.csv"'
    rows = list(csv.DictReader(io.StringIO(text)))
    assert {row["quantity"] for row in rows} == {"ph", "ec", "temperature", "level"}
    assert all(float(row["lowest"]) <= float(row["mean"]) <= float(row["highest"]) for row in rows)


@pytest.mark.parametrize(
    "query", ["from=yesterday", "span=fortnight", "from=0001-01-01&to=9999-12-31", "of=bed9"]
)
def test_a_trend_of_no_time_is_told_and_shows_the_last_day(browser: Browser, query: str) -> None:
    """A wrong address breaks nothing."""
    text = browser.gets(f"/trend?{query}")
    assert "last day" in text
    assert ('role="alert"' in text) == (query != "of=bed9")


def test_the_next_task_stands_beside_now(browser: Browser, tank: AtTheTank) -> None:
    """With the way to how it is done."""
    assert tank.loop.state is not None
    text = browser.gets("/")
    assert html.escape(tank.loop.state.next_task) in text
    assert 'href="/crop"' in text


def test_the_crop_shows_what_stands_and_what_it_gave(browser: Browser, tank: AtTheTank) -> None:
    """By the diary: seedlings, heads, what was picked; a late task is told as late."""
    day = tank.clock.utc().date() - timedelta(days=90)
    batch = {"batch": "spring-1"}
    for kind, after_days, fields in (
        ("sown", 0, {"crop": "lettuce", "variety": "butterhead", "plugs": 6}),
        ("transplanted", 20, {"heads": 5, "reservoir": "bed1"}),
        ("picked", 45, {"heads": 2, "grams": 310.0}),
    ):
        path = tank.service.folder / FILE_NAME
        write(path, event_of(kind, batch | fields), day + timedelta(days=after_days), tank.clock.utc())
    text = words_of(browser.gets("/crop"))
    assert re.search(r"sown \d\d \w\w\w: 1 seedling, 3 heads in bed1, 2 picked, 310 g so far", text)
    assert "Harvested so far: 2 heads, 310 g as far as it was weighed." in text
    assert "! late since " in text
    assert "Together in g, if weighed" in text
    assert "picked spring-1: heads 2, grams 310" in text


def test_a_copy_is_checked_from_the_folder_of_the_settings(
    browser: Browser, tank: AtTheTank, tmp_path: Path
) -> None:
    """As the daemon tells it, not from where the page runs; where it does not tell it, that is said."""
    text = (RIGS / "quince-lane.toml").read_text(encoding="utf-8")
    text = text.replace("[garden]\n", '[garden]\ncrops_folder = "mine"\n', 1)
    assert "does not tell which folder" in posts(browser, "/settings/check", text=text)[1]
    (tmp_path / "mine").mkdir()
    tank.service.loop.site = replace(tank.loop.site, settings_file=tmp_path / "site.toml")
    said = posts(browser, "/settings/check", text=text)[1]
    assert ("The file is fine" in said, f"looked for from {tmp_path}." in said) == (True, True)


def test_a_diary_that_cannot_be_read_does_not_break_the_page(browser: Browser, tank: AtTheTank) -> None:
    """It says which file, and what to do."""
    (tank.service.folder / FILE_NAME).write_text("no diary\nat all\n")
    assert FILE_NAME in browser.gets("/crop")
