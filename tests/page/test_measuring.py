"""What a pump gives in a second, measured from the page."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from urllib.parse import urlencode

import pytest

from daemon.values import Role
from tests.at_the_tank import AtTheTank, at_the_tank
from tests.page.browser import GUESTS, HOLDERS, WHO, Browser, passwords

PUMP = {"reservoir": "bed1", "pump": "ph_down"}
MEASURE = f"/doses/measure?{urlencode(PUMP)}"
RUN = {**PUMP, "run_s": "8", "cup": "yes", "password": HOLDERS}
NEXT = "Run the pump now"


@pytest.fixture
def garden(tmp_path: Path) -> Iterator[AtTheTank]:
    """The school garden after its first pass, held by a person, its password set."""
    passwords(tmp_path)
    with at_the_tank(tmp_path, control=True) as at:
        at.passes(1)
        at.ask("hold", reason="measuring")
        at.passes(1)
        yield at


def hidden(text: str, action: str) -> dict[str, str]:
    """What the form to this path sends along."""
    form = (
        text.partition(f'action="{action}"')[0].rpartition("<form")[2] + text.partition(f'action="{action}"')[2]
    )
    found = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form.partition("</form>")[0])
    return {name: html.unescape(of) for name, of in found if name != "token"}


def sent(browser: Browser, path: str, fields: Mapping[str, str]) -> tuple[int, str, str]:
    """A form: the status, what is said, where it leads."""
    form = urlencode({"token": browser.token("/settings"), **fields})
    status, text, headers = browser.asks("POST", path, form)
    return status, html.unescape(text), headers.get("location", "")


def run(browser: Browser, view: str) -> str:
    """One run by the form of this view: where it leads."""
    status, text, onward = sent(browser, "/measure/run", RUN | hidden(browser.gets(view), "/measure/run"))
    assert status == 303, text
    return onward


def read(browser: Browser, view: str, **amounts: str) -> str:
    """What was read, typed into the fields of this view: where it leads."""
    return f"/doses/measure?{urlencode(hidden(browser.gets(view), '/doses/measure') | amounts)}"


def test_two_runs_and_what_was_read_of_them_make_a_rate(garden: AtTheTank, holder: Browser) -> None:
    """Each is read before the next; old stands against new before it is kept; the ledger keeps who ran it."""
    view = run(holder, MEASURE)
    text = holder.gets(view)
    assert ("by the old rate 8.0 mL" in text, NEXT in text) == (True, False)
    view = read(holder, view, ml1="8,2")
    assert NEXT in holder.gets(view)
    view = run(holder, view)
    text = holder.gets(view)
    assert ('value="8,2"' in text, NEXT in text) == (True, False)
    view = read(holder, view, ml1="8,2", ml2="8.3")
    text = holder.gets(view)
    assert "was 1, would be 1.03 mL/s" in text
    assert garden.bed().pumps[Role.PH_DOWN].ml_per_s == 1.0
    status, text, _ = sent(holder, "/measure/keep", hidden(text, "/measure/keep") | {"password": HOLDERS})
    assert (status, "was 1, now 1.03 mL/s" in text) == (200, True)
    assert garden.passes(1).reservoirs["bed1"].pumps[Role.PH_DOWN].ml_per_s == pytest.approx(1.03, abs=0.01)
    assert [(entry["reason"], entry["note"]) for entry in garden.ask("ledger")] == [("measure", WHO)] * 3
    assert "What the cylinder showed" not in holder.gets(MEASURE)


def test_each_run_asks_for_the_password_and_a_cylinder(garden: AtTheTank, holder: Browser) -> None:
    """Without either no pump turns."""
    before = len(garden.runs())
    for lacking in ("", "wrong", GUESTS):
        assert sent(holder, "/measure/run", RUN | {"password": lacking})[0] == 403
    for lacking, told in (
        ("cup", "in an empty cylinder: nothing ran"),
        ("run_s", "How many seconds"),
        ("pump", "pump"),
    ):
        status, text, _ = sent(holder, "/measure/run", {name: of for name, of in RUN.items() if name != lacking})
        assert (status, told in text) == (400, True)
    for run_s in ("nan", "2", "21", "-8"):
        assert sent(holder, "/measure/run", RUN | {"run_s": run_s})[0] in (400, 409)
    assert len(garden.runs()) == before
    assert sent(holder, "/measure/run", RUN)[0] == 303
    assert len(garden.runs()) == before + 1


def test_the_same_form_sent_twice_is_no_second_run(garden: AtTheTank, holder: Browser) -> None:
    """A thumb that taps again while the pump turns gets a sentence."""
    form = RUN | hidden(holder.gets(MEASURE), "/measure/run")
    assert sent(holder, "/measure/run", form)[0] == 303
    before = len(garden.runs())
    status, text, _ = sent(holder, "/measure/run", form)
    assert (status, "other runs behind it by now: look again" in text) == (409, True)
    assert len(garden.runs()) == before


def test_the_new_rate_is_kept_by_the_password(garden: AtTheTank, holder: Browser) -> None:
    """And where the runs are still those; on the way back what was read stands there."""
    first = hidden(holder.gets(run(holder, MEASURE)), "/doses/measure")["first"]
    run(holder, read(holder, MEASURE, ml1="8.2"))
    form = {**PUMP, "first": first, "ml1": "8.2", "ml2": "8.3"}
    for password in ("", "wrong", GUESTS):
        status, text, _ = sent(holder, "/measure/keep", {**form, "password": password})
        assert status == 403
        assert f'href="/doses/measure?{urlencode(form)}"' in text
    assert sent(holder, "/measure/keep", {**form, "first": "999", "password": HOLDERS})[0] == 409
    assert garden.passes(1).reservoirs["bed1"].pumps[Role.PH_DOWN].ml_per_s == 1.0
    assert sent(holder, "/measure/keep", {**form, "password": HOLDERS})[0] == 200


@pytest.mark.parametrize(
    ("amounts", "told"),
    [
        ({"ml1": "8.2", "ml2": "a lot"}, "is no number"),
        ({"ml1": "8.2", "ml2": "0"}, "greater than 0"),
        ({"ml1": "8.2", "ml2": "12"}, "not kept"),
        ({"ml1": "80", "ml2": "80"}, "not kept"),
    ],
)
def test_amounts_that_make_no_rate_are_told(
    garden: AtTheTank, holder: Browser, amounts: dict[str, str], told: str
) -> None:
    """And what was typed stands there still, to be mended."""
    view = run(holder, read(holder, run(holder, MEASURE), ml1="8.2"))
    text = html.unescape(holder.gets(read(holder, view, **amounts)))
    assert (told in text, "/measure/keep" in text) == (True, False)
    assert all(f'value="{of}"' in text for of in amounts.values())


def test_amounts_of_other_runs_are_not_shown(garden: AtTheTank, holder: Browser) -> None:
    """A view that was left open belongs to runs that were forgotten since."""
    old = read(holder, run(holder, MEASURE), ml1="7.7")
    assert sent(holder, "/measure/cancel", PUMP)[0] == 303
    assert "What the cylinder showed" not in holder.gets(old)
    run(holder, MEASURE)
    assert 'value="7.7"' not in holder.gets(old)


def test_it_is_paused_first(garden: AtTheTank, holder: Browser) -> None:
    """Else it is no form, but the way to a pause; nor does one who sends it nevertheless have it run."""
    garden.ask("release")
    garden.passes(1)
    text = holder.gets(MEASURE)
    assert ("pause it first" in text, NEXT in text) == (True, False)
    before = len(garden.runs())
    assert sent(holder, "/measure/run", RUN)[0] == 409
    assert len(garden.runs()) == before


def test_each_pump_can_be_chosen_with_its_cautions(holder: Browser) -> None:
    """From the doses, by way of what each is taken to give."""
    assert 'href="/doses/measure?reservoir=bed1"' in holder.gets("/doses")
    assert holder.gets("/doses/measure?reservoir=bed1").count('class="step"') == 2
    text = html.unescape(holder.gets(MEASURE))
    for told in ("goggles and gloves on", "Never acid and base in one cylinder", "hang as high", "fill it first"):
        assert told in text


def test_without_a_password_it_is_measured_at_the_tank(browser: Browser) -> None:
    """By the command that is shown."""
    text = browser.gets(MEASURE)
    assert ("evenwater calibrate pump ph_down" in text, 'action="/measure' in text) == (True, False)


def test_a_guest_sees_the_rate_alone(guarded: Browser) -> None:
    """No form, no command."""
    guarded.logs_in(GUESTS)
    text = guarded.gets(MEASURE)
    assert ("mL/s" in text, 'action="/measure' in text, "evenwater calibrate" in text) == (True, False, False)
