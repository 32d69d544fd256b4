"""A season of ten batches through the whole program: the bench kept, the diary written, the report made.

The box is awake for a short while each day, which is enough to keep the water and takes seconds. Grower and bench
keep their own count of heads, grams and mL, and the report must come to the same.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections import Counter, defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from config.load import raw_tables
from config.settings import Settings
from daemon.cli.main import main
from daemon.rehearsal.staging import ask, calibrate_all
from daemon.service import Service
from sim_hw.bench import Bench, open_rig

FED = Path(__file__).parents[2] / "config" / "rigs" / "quince-lane-fed.toml"
BEGIN = datetime(2025, 3, 3, 6, 0, tzinfo=UTC)
BATCHES, EACH_DAYS, NURSERY_DAYS, GROWN_DAYS, PICKING_DAYS = 10, 1, 28, 14, 2
HEADS, PLUGS = 4, 6
HOUR_S, DAY_S = 3600.0, 86400.0
AWAKE_S, SETTLING_S = 0.5 * HOUR_S, 3.0 * HOUR_S
LAST_DAY = (BATCHES - 1) * EACH_DAYS + GROWN_DAYS + PICKING_DAYS
NEW_WATER_DAY, REFILLED_EACH_DAYS = 12, 9
VOLUME_L, BY_HAND_ML = 60.0, 250.0
ROLES = ("stock_a", "stock_b", "ph_down", "ph_up")
TEXT = '<b>slugs & "snails"</b>'


@dataclass
class Garden:
    """The grower's own count, and the state folder in which the program keeps its own."""

    folder: Path
    planted: Counter[str] = field(default_factory=Counter)
    picked: Counter[str] = field(default_factory=Counter)
    lost: Counter[str] = field(default_factory=Counter)
    grams: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    by_hand_ml: dict[str, float] = field(default_factory=lambda: defaultdict(float))
    pumped_ml: dict[str, float] = field(default_factory=dict)

    def given_ml(self, role: str) -> float:
        """What truly went into the water, by pump and by hand."""
        return self.pumped_ml[role] + self.by_hand_ml[role]

    def did(self, day: int, *words: str) -> None:
        """Write it down by the command line."""
        when = on(day).isoformat()
        assert main(["crop", "did", *words, "--day", when, "--state", str(self.folder)]) == 0

    def settings(self) -> dict[str, Any]:
        """Quince Lane, fed, its pumps just measured, and as fast as that: the ledger's mL are the bench's."""
        raw = raw_tables(FED)
        raw["rig"]["start_utc"] = BEGIN
        bed = raw["reservoir"]["bed1"]
        for pump in raw["rig"]["tank"]["bed1"]["pump"]:
            believed = bed["pump"][pump["role"]]
            pump["ml_per_s"], believed["measured_on"] = believed["ml_per_s"], BEGIN.date()
        return raw


def on(day: int) -> date:
    """Of the season."""
    return BEGIN.date() + timedelta(days=day)


def name_of(number: int) -> str:
    """spring-1 to spring-10."""
    return f"spring-{number + 1}"


def in_the_nursery(garden: Garden) -> None:
    """What came before the first head was set out: ten sowings, one plug each that stayed empty or damped off."""
    for number in range(BATCHES):
        batch, sown = name_of(number), number * EACH_DAYS - NURSERY_DAYS
        garden.did(sown, "sown", batch, "--crop", "lettuce", "--variety", "butterhead", "--plugs", str(PLUGS))
        garden.did(sown + 5, "emerged", batch, "--plugs", str(PLUGS - 1))
        garden.did(sown + 9, "thinned", batch)
        garden.did(sown + 15, "lost", batch, "--heads", "1", "--cause", "damping off")
        garden.lost["damping off"] += 1


def in_the_garden(garden: Garden, day: int) -> None:
    """What the grower does on one day of the season."""
    for number in range(BATCHES):
        batch, age = name_of(number), day - number * EACH_DAYS
        if age == 0:
            garden.did(day, "transplanted", batch, "--heads", str(HEADS), "--reservoir", "bed1")
            garden.planted[batch] += HEADS
        elif age == 10 and number == 4:
            garden.did(day, "lost", batch, "--heads", "1", "--cause", TEXT)
            garden.lost[TEXT] += 1
        elif age == GROWN_DAYS:
            pick(garden, day, batch, 2, 300.0 + 10.0 * number)
        elif age == GROWN_DAYS + PICKING_DAYS:
            pick(garden, day, batch, HEADS - 2 - (number == 4), 360.0)


def pick(garden: Garden, day: int, batch: str, heads: int, grams: float) -> None:
    """Cut, weighed, and half of it eaten the same day."""
    garden.did(day, "picked", batch, "--heads", str(heads), "--grams", str(grams))
    garden.did(day, "eaten", batch, "--grams", str(grams / 2.0))
    garden.picked[batch] += heads
    garden.grams[batch] += grams


def change_water(garden: Garden, service: Service, bench: Bench) -> None:
    """As the guide says: drained, filled, both stocks poured in and told of."""
    ask(service, "change_out.begin", reservoir="bed1")
    tank = bench.world.basins["bed1"].tank
    bench.play("drain", litres=tank.volume_l - 1.0)
    bench.play("add_water", litres=VOLUME_L - 1.0)
    for stock in ("stock_a", "stock_b"):
        tank.deliver(stock, BY_HAND_ML)
        garden.by_hand_ml[stock] += BY_HAND_ML
        ask(service, "poured", reservoir="bed1", pump=stock, ml=BY_HAND_ML, note="new water", sure=True)
        service.run(HOUR_S / 4.0)
    ask(service, "change_out.done", reservoir="bed1")
    service.run(SETTLING_S)


def keep(garden: Garden, service: Service, bench: Bench, day: int) -> None:
    """A day of the box and its grower, up to the next morning."""
    if day % REFILLED_EACH_DAYS == 0:
        bench.play("refill", pump="top_up")
        ask(service, "bottle", reservoir="bed1", pump="top_up")
    if day == NEW_WATER_DAY:
        change_water(garden, service, bench)
    service.run(SETTLING_S if day == 0 else AWAKE_S)
    in_the_garden(garden, day)
    bench.clock.sleep(BEGIN.timestamp() + (day + 1) * DAY_S - bench.clock.utc().timestamp())


@pytest.fixture(scope="module")
def garden(tmp_path_factory: pytest.TempPathFactory) -> Garden:
    """After the season."""
    garden = Garden(tmp_path_factory.mktemp("season"))
    in_the_nursery(garden)
    settings = Settings.model_validate(
        garden.settings() | {"site": {**garden.settings()["site"], "pass_every_s": 60.0}}
    )
    bench = open_rig(settings.rig_table())
    with Service(settings, rig=bench, state_folder=garden.folder, control=False, mqtt=False) as service:
        calibrate_all(service, bench)
        for day in range(LAST_DAY + 1):
            keep(garden, service, bench, day)
        pumps = bench.world.basins["bed1"].pumps
        garden.pumped_ml = {role: pump.delivered_ml for role, pump in pumps.items()}
    return garden


@pytest.fixture(scope="module")
def reported(garden: Garden) -> Path:
    """The folder with page and table, made by the command, with the daemon gone."""
    words = ["--state", str(garden.folder), "--settings", str(FED)]
    out = garden.folder / "out"
    out.mkdir()
    made = ["-o", str(out / "season.html"), "--csv", str(out / "season.csv")]
    assert main(["report", "--all", *words, *made]) == 0
    return out


@pytest.fixture(scope="module")
def table(reported: Path) -> list[dict[str, str]]:
    """The rows of the table, read by the standard library."""
    text = (reported / "season.csv").read_bytes().decode()
    assert text.count("\r\n") == BATCHES + 1  # RFC 4180
    return list(csv.DictReader(io.StringIO(text, newline="")))


def column(table: list[dict[str, str]], name: str) -> float:
    """Its sum."""
    return sum(float(row[name]) for row in table)


def as_json(garden: Garden, capsys: pytest.CaptureFixture[str]) -> Mapping[str, Any]:
    """The report for programs."""
    words = ["report", "--all", "--state", str(garden.folder), "--settings", str(FED), "--json"]
    capsys.readouterr()
    assert main(words) == 0
    told: Mapping[str, Any] = json.loads(capsys.readouterr().out)
    return told


def test_heads_and_grams_are_the_growers(garden: Garden, table: list[dict[str, str]]) -> None:
    """Batch by batch."""
    assert len(table) == BATCHES
    for row in table:
        assert int(row["heads_set_out"]) == garden.planted[row["batch"]] == HEADS
        assert int(row["heads_picked"]) == garden.picked[row["batch"]]
        assert float(row["grams_picked"]) == pytest.approx(garden.grams[row["batch"]])
        assert int(row["days_to_first_picking"]) == NURSERY_DAYS + GROWN_DAYS
        assert float(row["share_eaten"]) == pytest.approx(0.5)
        assert int(row["heads_standing"]) == 0
    assert column(table, "seedlings_lost") + column(table, "heads_lost") == garden.lost.total() == BATCHES + 1


@pytest.mark.parametrize("role", ROLES)
def test_every_ml_of_the_bench_is_somebodys(
    garden: Garden, table: list[dict[str, str]], role: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """What came out of each bottle, as the bench knows it: all of it, and no more. Heads stood all the time."""
    told = column(table, f"{role}_ml")
    assert told == pytest.approx(garden.given_ml(role), rel=1e-6)
    assert f"{role}_ml" not in as_json(garden, capsys)["used_while_no_head_stood"]


def test_much_was_given_so_that_the_sums_mean_something(garden: Garden) -> None:
    """Acid, both stocks and water."""
    assert garden.pumped_ml["ph_down"] > 100.0
    assert garden.pumped_ml["stock_a"] > 20.0
    assert garden.given_ml("top_up") > 5000.0


def test_every_litre_too(garden: Garden, table: list[dict[str, str]]) -> None:
    """By the top-up pump, with the first filling and the one that was changed."""
    litres = garden.given_ml("top_up") / 1000.0 + 2 * VOLUME_L
    assert column(table, "water_l") == pytest.approx(litres, rel=1e-6)


def test_costs_are_the_prices_times_what_was_used(garden: Garden, table: list[dict[str, str]]) -> None:
    """By hand from the bench's own figures and the prices of the settings."""
    price, appliances = garden.settings()["prices"], garden.settings()["appliance"].values()
    kwh = (LAST_DAY + 1) * sum(one["rated_w"] / 1000.0 * one["hours_per_day"] for one in appliances)
    water_m3 = (garden.given_ml("top_up") / 1000.0 + 2 * VOLUME_L) / 1000.0
    bottles = sum(garden.given_ml(role) / 1000.0 * price[f"{role}_per_l"] for role in ROLES)
    plugs = BATCHES * PLUGS * price["plug_each"]
    whole = kwh * price["electricity_per_kwh"] + water_m3 * price["water_per_m3"] + bottles + plugs
    assert column(table, "electricity_kwh") == pytest.approx(kwh)
    assert column(table, "cost_known") == pytest.approx(whole, rel=1e-6)
    assert all(row["cost_is_whole"] == "1" for row in table)
    assert {row["currency"] for row in table} == {"EUR"}


def test_later_batches_share_with_more(table: list[dict[str, str]]) -> None:
    """Water of the first, which stood alone at the beginning, is more than that of one in the midst."""
    litres = [float(row["water_l"]) for row in table]
    assert litres[0] > litres[4]
    assert min(litres) > 0.0


def test_the_page_stands_by_itself(reported: Path) -> None:
    """No script, nothing from elsewhere; each batch with three pictures at least; the grower's text is text."""
    page = (reported / "season.html").read_text()
    assert not re.search(r"<script|<link|<img|<iframe|\bsrc=|url\(|https?://", page)
    assert all(f'<article id="{name_of(number)}">' in page for number in range(BATCHES))
    assert page.count("<svg") >= 3 * BATCHES
    assert "<b>slugs" not in page
    assert "&lt;b&gt;slugs &amp; &quot;snails&quot;&lt;/b&gt; 1" in page
    assert "in its band" in page


def test_the_season_in_json(garden: Garden, capsys: pytest.CaptureFixture[str]) -> None:
    """Sums of all, and what called in each stay."""
    told = as_json(garden, capsys)
    assert told["season"]["picked"] == garden.picked.total() == BATCHES * HEADS - 1
    assert told["season"]["grams"] == pytest.approx(sum(garden.grams.values()))
    assert told["season"]["lost"] == dict(garden.lost)
    stays = [stay for batch in told["batches"] for stay in batch["stays"]]
    assert len(stays) == BATCHES
    assert all(0.5 < stay["in_band"]["ph"] <= 1.0 for stay in stays)
    keys = {one["key"] for stay in stays for one in stay["called"]}
    assert "held" in keys  # the change-out


def test_the_book_lists_all_ten(garden: Garden, capsys: pytest.CaptureFixture[str]) -> None:
    """A line each, and the sum below."""
    capsys.readouterr()
    assert main(["crop", "book", "--state", str(garden.folder)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines[1 : BATCHES + 1]] == [name_of(number) for number in range(BATCHES)]
    assert "39 heads picked of 40 set out" in lines[-3]
