"""What people do from a phone, from the first touch to what comes of it at the tank."""

from __future__ import annotations

import signal
from datetime import UTC, datetime, timedelta

from playwright.sync_api import Browser, Page, expect

from tests.page.browser import HOLDERS
from tests.page.chromium.house import MIX, House, shut_out
from tests.scenarios.site import QUINCE_LANE, run, soon

STANDARDS = ("7.00", "4.01")
AGAIN = "Password, once more"
MIXED_PASSES = 60  # until the last dose is long enough ago for the next


def test_a_ph_probe_is_calibrated_in_two_buffers(phone: Page, house: House) -> None:
    """From the choice to the water again: the curve comes to rest, new stands beside old, the ledger goes on."""
    phone.goto("/calibrate")
    phone.get_by_role("link", name="pH probe").click()
    phone.get_by_role("button", name="Begin").click()
    for number, standard in enumerate(STANDARDS, 1):
        house.site.bench("dip", "ph", standard)
        phone.get_by_role("button", name="look afresh").click()
        bottle = phone.get_by_label("Which bottle it is in")
        bottle.select_option(standard)
        phone.get_by_label("Its temperature in °C", exact=False).fill("20")
        expect(phone.get_by_text("✓ At rest", exact=False)).to_be_visible()
        expect(phone.locator("#resting svg title")).to_contain_text("moved")
        expect(bottle).to_have_value(standard)  # however often the view was renewed meanwhile
        phone.get_by_role("button", name="Take this point").click()
        expect(phone.get_by_text(f"{standard} taken", exact=False)).to_be_visible()
        expect(phone.locator("li", has_text=" taken: ").locator("li")).to_have_count(number)
    expect(phone.get_by_role("row", name="slope")).to_contain_text("97.")
    keep_the_new_one(phone)
    house.site.bench("back", "ph")
    phone.get_by_label(AGAIN).fill(HOLDERS)
    phone.get_by_role("button", name="It is in the water").click()
    expect(phone.get_by_role("heading", name="Done")).to_be_visible()
    soon(lambda: house.site.bed()["condition"] == "keeping")
    assert "slope" in house.site.told("calibrate", "ph", "history")["said"]


def keep_the_new_one(phone: Page) -> None:
    """By the password; not by another one."""
    accept = phone.get_by_label("I have checked it, and it is right")
    for password, kept in (("not this one", False), (HOLDERS, True)):
        if accept.count():
            accept.check()
        phone.get_by_label(AGAIN).fill(password)
        phone.get_by_role("button", name="Keep the new calibration").click()
        if not kept:
            expect(phone.get_by_text("That is not the password")).to_be_visible()
            phone.get_by_role("link", name="Back").click()
    expect(phone.get_by_role("button", name="It is in the water")).to_be_visible()


def test_one_buffer_at_hand_makes_a_stop_gap(phone: Page, house: House) -> None:
    """Told for what it is, kept with a word for it; cancelled it leaves the old one as it was."""
    phone.goto("/calibrate?reservoir=bed1&quantity=ph")
    phone.get_by_role("button", name="Begin").click()
    house.site.bench("dip", "ph", "4.01")
    phone.get_by_role("button", name="look afresh").click()
    phone.get_by_label("Which bottle it is in").select_option("4.01")
    expect(phone.get_by_text("✓ At rest", exact=False)).to_be_visible()
    phone.get_by_role("button", name="Take this point").click()
    phone.get_by_text("Only this one buffer at hand? A stop-gap").click()
    expect(phone.get_by_text("void after 7 days", exact=False)).to_be_visible()
    expect(phone.get_by_role("row", name="offset")).to_be_visible()
    assert shut_out(phone) == []
    phone.get_by_label("I know: it is for now", exact=False).check()
    phone.get_by_label(AGAIN).fill(HOLDERS)
    phone.get_by_role("button", name="Keep it as a stop-gap").click()
    expect(phone.get_by_text("never dosed by", exact=False)).to_be_visible()
    house.site.bench("back", "ph")
    phone.get_by_label(AGAIN).fill(HOLDERS)
    phone.get_by_role("button", name="It is in the water").click()
    expect(phone.get_by_role("heading", name="Done")).to_be_visible()
    soon(lambda: "calibrated in one buffer only" in str(house.site.evenwater("status").stdout))


def test_dosing_is_paused_from_the_phone_and_let_on_again(phone: Page, house: House) -> None:
    """With a reason for whoever looks later; only the password lets it dose again."""
    phone.goto("/")
    phone.get_by_text("Pause dosing", exact=True).click()
    phone.get_by_label("Why, for whoever looks later").fill("wet hands <b>")
    phone.get_by_role("button", name="Pause dosing of Bed 1").click()
    expect(phone.get_by_role("heading", name="Done")).to_be_visible()
    soon(lambda: house.site.bed()["condition"] == "held")
    assert house.site.bed()["condition_reason"] == "wet hands <b>"
    phone.goto("/")
    expect(phone.get_by_text("wet hands <b>", exact=False).first).to_be_visible()
    phone.get_by_text("Let it dose again", exact=True).click()
    phone.get_by_label(AGAIN).fill(HOLDERS)
    phone.get_by_role("button", name="Let Bed 1 dose again").click()
    soon(lambda: house.site.bed()["condition"] == "keeping")


def test_a_tube_is_filled_over_a_cup(phone: Page, house: House) -> None:
    """Paused first; nothing runs before the box is ticked; then the pump turns, and the ledger tells who."""
    phone.goto("/doses")
    fold = phone.get_by_text("Fill a tube by hand", exact=True)
    fold.click()
    expect(phone.get_by_text("pause it first", exact=False)).to_be_visible()
    house.site.evenwater("hold", "priming", "--reservoir", "bed1")
    soon(lambda: house.site.bed()["condition"] == "held")
    house.site.until_passes(MIXED_PASSES)
    phone.goto("/doses")
    fold.click()
    phone.get_by_label("Which pump").select_option("ph_down")
    phone.get_by_label("How much in mL", exact=False).fill("1.5")
    phone.locator("#prime-bed1").get_by_label(AGAIN).fill(HOLDERS)
    run_it = phone.get_by_role("button", name="Run the pump now")
    run_it.click()
    cup = phone.get_by_label("The end of its tube is in an empty cup")
    expect(cup).to_be_focused()  # the browser itself asks for the tick
    cup.check()
    run_it.click()
    expect(phone.get_by_role("heading", name="Done")).to_be_visible()
    expect(phone.get_by_text("pH down pump ran", exact=False)).to_contain_text("It counts as dosed")
    phone.get_by_role("link", name="Back").click()
    expect(phone.locator(".ledger li").first).to_contain_text("(local, page, password holder, from 127.0.0.1)")
    house.site.evenwater("release")
    soon(lambda: house.site.bed()["condition"] == "keeping")


def tells(phone: Page, what: str, pump: str, button: str) -> None:
    """A form of the doses, opened, its pump chosen, the password given, sent."""
    fold = phone.locator("details", has_text=what)
    fold.get_by_text(what, exact=True).click()
    fold.locator("select").select_option(pump)
    fold.get_by_label(AGAIN).fill(HOLDERS)
    fold.get_by_role("button", name=button).click()


def test_a_bottle_is_told_to_be_full(phone: Page, house: House) -> None:
    """None is chosen beforehand, and the browser itself asks for the tick."""
    house.site.evenwater("hold", "filling bottles", "--reservoir", "bed1")  # so that no dose comes in between
    house.site.evenwater("poured", "bed1", "ph_down", "--ml", "1")
    house.site.until_passes(2)
    phone.goto("/doses")
    left = phone.locator(".caps li", has_text="pH down").get_by_text("left in the bottle", exact=False)
    expect(left).not_to_have_text("1000 mL left in the bottle")
    tells(phone, "A bottle is full again", "ph_down", "Count the bottle as full")
    full = phone.get_by_label("It is filled to the top", exact=False)
    expect(full).to_be_focused()
    full.check()
    phone.get_by_role("button", name="Count the bottle as full").click()
    expect(phone.get_by_text("pH down bottle counted as full: 1000 mL")).to_be_visible()
    phone.get_by_role("link", name="Back").click()
    expect(left).to_have_text("1000 mL left in the bottle")
    house.site.evenwater("release")
    soon(lambda: house.site.bed()["condition"] == "keeping")


def test_what_was_poured_is_told_and_a_slip_is_asked_about(phone: Page, house: House) -> None:
    """More than a dose is asked about; back to the form with all that was typed; then told, and sure of it."""
    phone.goto("/doses")
    what, note = "Something was poured in by hand", "the hose <came> off"
    phone.get_by_text(what, exact=True).click()
    ml, why = phone.get_by_label("How much, in mL of what", exact=False), phone.get_by_label("Why, for whoever")
    ml.fill("50")
    why.fill(note)
    phone.get_by_text(what, exact=True).click()
    tells(phone, what, "ph_down", "Note what was poured")
    expect(phone.get_by_text("is more than the 4 mL of one dose", exact=False)).to_be_visible()
    assert shut_out(phone) == []
    phone.get_by_role("link", name="Back, to change it").click()
    expect(ml).to_have_value("50")
    expect(why).to_have_value(note)
    ml.fill("9")
    fold = phone.locator("details[open]", has_text=what)
    expect(fold.locator("select")).to_have_value("ph_down")
    fold.get_by_label(AGAIN).fill(HOLDERS)
    fold.get_by_role("button", name="Note what was poured").click()
    phone.get_by_label(AGAIN).fill(HOLDERS)
    phone.get_by_role("button", name="Yes, so much: note it").click()
    expect(phone.get_by_role("heading", name="Done")).to_be_visible()
    phone.get_by_role("link", name="Back").click()
    newest = phone.locator(".ledger li").first
    expect(newest).to_contain_text("9.0 mL pH down, poured by hand")
    expect(newest).to_contain_text(f"page, password holder, from 127.0.0.1: {note})")


def test_a_new_tube_is_told(phone: Page, house: House) -> None:
    """Its pump waits until it is measured, and says so."""
    phone.goto("/doses")
    tells(phone, "A new tube is in", "ph_up", "Note the new tube")
    expect(phone.get_by_text("new pH up tube noted", exact=False)).to_contain_text("does not dose until measured")
    soon(lambda: "tube" in str(house.site.alarms()))


def test_water_is_changed_step_by_step(phone: Page, house: House) -> None:
    """Paused first; the steps stand there however often one looks; then the word for it, and it goes on."""
    phone.goto("/doses")
    phone.get_by_role("link", name="New water for Bed 1").click()
    expect(phone.get_by_text("mains first", exact=False)).to_be_visible()
    phone.get_by_role("button", name="Pause dosing of Bed 1").click()
    expect(phone.get_by_role("heading", name="Done")).to_be_visible()
    phone.get_by_role("link", name="Back").click()
    expect(phone.get_by_role("heading", name="When it is in")).to_be_visible()  # by itself, at the next pass
    assert shut_out(phone) == []
    phone.goto("/")
    phone.get_by_role("link", name="New water, step by step").click()
    phone.get_by_label(AGAIN).fill(HOLDERS)
    note = phone.get_by_role("button", name="Note the new water")
    note.click()
    all_new = phone.get_by_label("All of the water is new, and mixed")
    expect(all_new).to_be_focused()
    all_new.check()
    note.click()
    expect(
        phone.get_by_text("new water noted, what was learned of the old is forgotten", exact=False)
    ).to_be_visible()
    soon(lambda: house.site.bed()["condition"] == "keeping")


def test_a_pump_is_measured_over_a_cylinder(phone: Page, house: House) -> None:
    """Run, read, run, read, old against new; nothing runs before the box is ticked, and nothing by itself."""
    house.site.evenwater("hold", "measuring", "--reservoir", "bed1")
    soon(lambda: house.site.bed()["condition"] == "held")
    phone.goto("/")
    expect(phone.get_by_text("held", exact=False).first).to_be_visible()  # the page asks the daemon now and then
    phone.goto("/doses")
    phone.get_by_role("link", name="Measure a pump of Bed 1").click()
    phone.get_by_role("link", name="pH down pump").click()
    for number in (1, 2):
        phone.get_by_label("How long, in s", exact=False).fill("3")
        phone.get_by_label(AGAIN).fill(HOLDERS)
        run_it = phone.get_by_role("button", name="Run the pump now")
        run_it.click()
        cylinder = phone.get_by_label("Its end is in an empty measuring cylinder", exact=False)
        expect(cylinder).to_be_focused()
        cylinder.check()
        run_it.click()
        expect(phone.get_by_label(f"Run {number}, ", exact=False)).to_be_visible()
        expect(run_it).to_have_count(0)
        phone.get_by_label(f"Run {number}, ", exact=False).fill(f"3.{number}")
        phone.get_by_role("button", name="This is what I read").click()
        expect(run_it).to_be_visible()
        assert shut_out(phone) == []
    expect(phone.get_by_text("would be 1.05 mL/s", exact=False)).to_be_visible()
    expect(phone.get_by_label("Run 1, ", exact=False)).to_have_value("3.1")
    keep = phone.locator("form", has_text="It doses by the new rate")
    keep.get_by_label(AGAIN).fill(HOLDERS)
    keep.get_by_role("button", name="Dose by the new rate").click()
    expect(phone.get_by_text("now 1.05 mL/s", exact=False)).to_be_visible()
    house.site.evenwater("release")
    soon(lambda: house.site.bed()["condition"] == "keeping")


def test_an_alarm_is_seen_and_silenced(phone: Page, house: House) -> None:
    """It comes up by itself on a view that stands open; silencing it clears nothing."""
    phone.goto("/")
    house.site.bench("unplug", "ec")
    link = phone.get_by_role("link", name="call", exact=False)
    expect(link).to_be_visible()
    link.click()
    phone.get_by_role("button", name="I have seen bed1-ec-probe").click()
    expect(phone.get_by_role("heading", name="Done")).to_be_visible()
    assert "bed1-ec-probe" in house.site.alarms()
    phone.goto("/alarms")
    expect(phone.get_by_role("button", name="I have seen bed1-ec-probe")).to_have_count(0)
    house.site.bench("plug", "ec")


def test_a_connection_that_is_lost_is_told_and_comes_back(browser: Browser, house: House) -> None:
    """What is shown is marked as old, with why; once the page answers again it goes on by itself."""
    without_password = ("--password-file", str(house.site.state / "none"))
    context = browser.new_context()
    page = context.new_page()
    with house.serving(*without_password) as url:
        page.goto(url)
        expect(page.get_by_role("alert")).to_have_count(0)
    expect(page.get_by_role("alert")).to_contain_text("does not answer")
    with house.serving(*without_password, port=int(url.rstrip("/").rpartition(":")[2])):
        expect(page.get_by_role("alert")).to_have_count(0)
        expect(page.locator("#age")).to_contain_text("s ago")
        context.close()


def test_a_daemon_that_hangs_is_told_with_what_to_do(phone: Page, house: House) -> None:
    """Measure by hand, pull the plug; when it goes on, so does the page."""
    phone.goto("/")
    house.daemon.send_signal(signal.SIGSTOP)
    try:
        alert = phone.get_by_role("alert")
        expect(alert).to_contain_text("measure by hand")
        expect(phone.get_by_text("pH", exact=True)).to_be_visible()
    finally:
        house.daemon.send_signal(signal.SIGCONT)
    expect(alert).to_have_count(0)


def test_a_changed_copy_of_the_settings_is_checked(phone: Page, house: House) -> None:
    """Each mistake at once, in the words of the command line; nothing is changed, and what was pasted stays."""
    before = house.site.settings.read_text()
    broken = QUINCE_LANE.read_text().replace("max_per_dose_ml = 8.0", "max_per_dose_ml = -8.0")
    broken = broken.replace("target = 6.0", "tarket = 6.0")
    phone.goto("/settings")
    phone.get_by_text("Check a changed copy").click()
    phone.get_by_label("Its text, pasted").fill(broken)
    phone.get_by_role("button", name="Check it").click()
    expect(phone.get_by_role("heading", name="2 things are wrong")).to_be_visible()
    copy = house.site.state / "copy.toml"
    copy.write_text(broken)
    said = run("daemon.cli.main", "check", str(copy)).stderr.replace(str(copy), "the copy").splitlines()
    assert phone.locator("#found li").all_inner_texts() == said
    expect(phone.get_by_text(f"looked for from {house.site.settings.parent}", exact=False)).to_be_visible()
    phone.get_by_label("Or choose the file", exact=False).set_input_files(QUINCE_LANE)
    expect(phone.get_by_label("Its text, pasted")).to_have_value(QUINCE_LANE.read_text())
    phone.get_by_role("button", name="Check it").click()
    expect(phone.get_by_role("heading", name="The file is fine")).to_be_visible()
    assert house.site.settings.read_text() == before


def test_a_tank_is_mixed_by_keyboard(phone: Page) -> None:
    """From the crop to what to weigh, as the command has it, nothing touched but keys."""
    phone.goto("/crop")
    phone.get_by_role("link", name="Mix nutrient solution", exact=False).focus()
    phone.keyboard.press("Enter")
    expect(phone.get_by_role("heading", name="Mixing", exact=True)).to_be_visible()
    phone.get_by_label("Litres of the tank").focus()
    phone.keyboard.press("Control+A")
    phone.keyboard.type("20")
    phone.keyboard.press("Tab")
    phone.keyboard.type("Lettuce, leafing")
    phone.keyboard.press("Tab")
    phone.keyboard.press("Enter")
    expect(phone.get_by_role("heading", name="20 L of sonneveld_lettuce", exact=False)).to_be_visible()
    told = run("daemon.cli.main", "mix", str(MIX), "--volume-l", "20", "--ec", "1.0").stdout
    first = phone.locator("ol.weigh li").first
    amount = first.locator(".amount").inner_text()
    assert f"{amount}" in " ".join(told.split())
    expect(first).to_contain_text("nitric acid")
    phone.get_by_text("Element by element", exact=False).click()
    phone.get_by_text("Concentrates A and B", exact=True).click()
    assert shut_out(phone) == []
    phone.get_by_label("Litres of each", exact=False).fill("1")
    phone.get_by_role("button", name="Reckon what to weigh").click()
    expect(phone.get_by_role("heading", name="Stock A, 1 L at 100-fold", exact=False)).to_be_visible()
    expect(phone.get_by_text("never pour concentrates A and B together", exact=False)).to_be_visible()


def test_a_task_of_the_garden_is_ticked_off(phone: Page, house: House) -> None:
    """With the count that the plan cannot know; a slip is told, and nothing written."""
    week_ago = (datetime.now(UTC) - timedelta(days=7)).date()
    told = ("--crop", "lettuce", "--variety", "butterhead", "--plugs", "6", "--day", str(week_ago))
    sown = house.site.evenwater("crop", "did", "sown", "spring-1", *told, "--settings", str(house.site.settings))
    assert sown.returncode == 0, sown.stderr
    phone.goto("/crop")
    task = phone.locator("#task-look-spring-1")
    expect(task.get_by_text("give them light at once", exact=False)).to_be_visible()
    for plugs, heading in (("7", "Not done"), ("5", "Done")):
        task.get_by_label("Plugs with a seedling").fill(plugs)
        task.get_by_role("button", name="Done: look").click()
        expect(phone.get_by_role("heading", name=heading, exact=True)).to_be_visible()
        phone.get_by_role("link", name="Back").click()
    expect(phone.get_by_text("emerged spring-1: plugs 5")).to_be_visible()
    expect(task).to_have_count(0)
    expect(phone.get_by_text("spring-1: butterhead lettuce", exact=False)).to_contain_text("5 seedlings")
