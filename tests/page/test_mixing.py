"""Mixing on the page: the very recipe that `evenwater mix` gives, and what is refused."""

from __future__ import annotations

import html
import json
import re
from dataclasses import replace
from pathlib import Path
from urllib.parse import urlencode

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from config.crop import load_crop
from config.load import load, warnings
from config.settings import Settings
from daemon.cli.main import main
from daemon.page.mixing import mixing
from daemon.service import settings_with
from tests.at_the_tank import RIGS, AtTheTank, one_bed
from tests.page.browser import GUESTS, Browser, passwords, serving

MIX = RIGS.parent / "mixes" / "quince-lane.toml"
ASKED = [
    ({}, ()),
    ({"litres": "20", "ec": "1,0"}, ("--volume-l", "20", "--ec", "1.0")),
    ({"litres": "60", "stock_l": "", "fold": "100", "ec": ""}, ()),
    ({"stock_l": "1", "fold": "50"}, ("--stock-l", "1", "--strength", "50")),
    ({"litres": "250", "stock_l": "2.5", "fold": ""}, ("--volume-l", "250", "--stock-l", "2.5")),
]


def with_mix(file: Path | str = MIX) -> Settings:
    """The school garden, its mix file named."""
    return settings_with(one_bed(), garden={"mix_file": str(file)})


@pytest.fixture
def mixes(tank: AtTheTank, monkeypatch: pytest.MonkeyPatch) -> AtTheTank:
    """The school garden whose settings name its mix file."""
    monkeypatch.setattr(tank.service.loop, "site", replace(tank.loop.site, settings=with_mix()))
    return tank


def told(text: str) -> str:
    """What a person reads, in one line, names without their strokes."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).replace("_", " ").split())


@pytest.mark.parametrize(("asked", "words"), ASKED)
def test_it_is_what_the_command_says(
    mixes: AtTheTank, capsys: pytest.CaptureFixture[str], asked: dict[str, str], words: tuple[str, ...]
) -> None:
    """Each line that is printed is on the page: weights, stocks, EC, elements, how and with what care."""
    with serving(mixes) as browser:
        page = told(browser.gets(f"/crop/mix?{urlencode(asked)}"))
    assert main(["mix", str(MIX), *words]) == 0
    lines = capsys.readouterr().out.splitlines()
    heads = {"how:", "with care:"}
    assert len(lines) > 40
    for line in lines:
        if line.strip() not in heads and not line.strip().startswith("mg/L"):
            for part in _parts(line):
                assert part in page, line


def _parts(line: str) -> list[str]:
    """What stands together in a line: an amount with its unit, a name, a note."""
    bare = re.sub(r"^ +\d+  ", "", line).replace("_", " ")
    found = [" ".join(part.split()) for part in re.split(r" {2,}", bare) if part.strip()]
    return [part[0].upper() + part[1:] if part.endswith("in this order:") else part for part in found]


def test_its_weights_are_those_of_the_command(mixes: AtTheTank, capsys: pytest.CaptureFixture[str]) -> None:
    """Each product with its amount, in the order in which they go in; no other."""
    with serving(mixes) as browser:
        page = browser.gets("/crop/mix?litres=20")
    weighed = [
        (name, float(amount), unit)
        for amount, unit, name in re.findall(r'"amount">([\d.]+) (g|mL)</strong><span> ([^<]+)</span>', page)
        if "bottle" not in name
    ]
    assert main(["mix", str(MIX), "--volume-l", "20", "--json"]) == 0
    tank = json.loads(capsys.readouterr().out)["tank"]
    printed = [*tank["weigh"], *(one for bottle in tank["bottles"] for one in bottle["weigh"])]
    assert sorted(weighed) == sorted(
        (one["name"].replace("_", " "), round(one["measured"], 4), one["unit"]) for one in printed
    )
    assert (weighed[0][0], weighed[-1][0]) == ("nitric acid 10", "calcium nitrate double salt")


def test_a_stage_of_the_crop_tells_how_strong(mixes: AtTheTank) -> None:
    """By the crop's file; an EC of one's own goes before it."""
    (leafing,) = (stage for stage in load_crop("lettuce").stage if stage.name == "leafing")
    shown = mixing(with_mix(), {"for": "lettuce/leafing"})
    assert shown.answer is not None
    assert shown.answer.mix.contents.ec_ms_per_cm == pytest.approx(leafing.ec_target_ms_per_cm, abs=0.01)
    own = mixing(with_mix(), {"for": "lettuce/leafing", "ec": "1.5"})
    assert own.answer is not None
    assert own.answer.mix.contents.ec_ms_per_cm == pytest.approx(1.5, abs=0.01)
    with serving(mixes) as browser:
        assert "Lettuce, leafing (from day 14): EC 1 mS/cm" in told(browser.gets("/crop/mix"))


@pytest.mark.parametrize(
    ("asked", "why"),
    [
        ({"litres": "0"}, "litres of the tank: 0 L: must be above 0, at most 100000 L"),
        ({"litres": "-3"}, "litres of the tank: -3 L: must be above 0"),
        ({"litres": "100001"}, "at most 100000 L"),
        ({"litres": "nan"}, "litres of the tank: 'nan' is no number"),
        ({"litres": "a can"}, "litres of the tank: 'a can' is no number"),
        ({"ec": "6.1"}, "EC of your own: 6.1 mS/cm: must be above 0, at most 6 mS/cm"),
        ({"ec": "0.1"}, "the water has 0.32 without salts; ask for more"),
        ({"stock_l": "2001"}, "litres of each concentrate: 2001 L: must be above 0, at most 2000 L"),
        ({"stock_l": "1", "fold": "1"}, "how strong the concentrates are: 1 mL: must be 2 to 400 mL"),
        ({"for": "lettuce/teenager"}, "must be one of file, lettuce/germination"),
    ],
)
def test_what_cannot_be_is_told_with_what_is_allowed(asked: dict[str, str], why: str) -> None:
    """And nothing is given to weigh."""
    found = mixing(with_mix(), asked)
    assert found.answer is None
    assert any(why in line for line in found.trouble), found.trouble


NUMBERS = st.text(max_size=6) | st.floats().map(str) | st.integers(-5, 5).map(str)


@settings(max_examples=30, deadline=None)
@given(st.dictionaries(st.sampled_from(["litres", "ec", "stock_l", "fold", "for", "x"]), NUMBERS, max_size=3))
def test_no_query_is_an_error_of_the_program(asked: dict[str, str]) -> None:
    """It is answered, or told what is wrong with it."""
    found = mixing(with_mix(), asked)
    assert (found.answer is None) == bool(found.trouble)


def test_without_a_mix_file_it_is_told_how_to_name_one(browser: Browser) -> None:
    """With what to copy, and nothing to weigh by somebody else's water."""
    text = told(browser.gets("/crop/mix"))
    assert "copy config/mixes/quince-lane.toml beside the settings" in text
    assert '[garden] mix file = "mix.toml"' in text
    assert "With care" not in text


@pytest.mark.parametrize("content", [None, "title = 3\n", 'title = "x"\nvolume_l = 1.0\nrecipe = "juice"\n'])
def test_a_mix_file_that_cannot_be_used_is_told(tmp_path: Path, content: str | None) -> None:
    """Each mistake with its file and what is allowed, as the command tells it."""
    file = tmp_path / "mix.toml"
    if content is not None:
        file.write_text(content, encoding="utf-8")
    found = mixing(with_mix(file), {})
    assert found.answer is None
    assert found.trouble
    assert all(str(file) in line for line in found.trouble)


def test_a_guest_mixes_too(mixes: AtTheTank) -> None:
    """It changes nothing; the kitchen tablet may stand beside the scale."""
    passwords(mixes.service.folder)
    with serving(mixes) as browser:
        browser.logs_in(GUESTS)
        assert "With care" in browser.gets("/crop/mix?litres=10")


def test_the_settings_name_it_from_their_own_folder_on(tmp_path: Path) -> None:
    """Wherever the program is started; one that is not there is a note, and keeps nothing from starting."""
    file = tmp_path / "site.toml"
    text = (RIGS / "quince-lane.toml").read_text(encoding="utf-8")
    assert "[garden]\n" in text
    file.write_text(text.replace("[garden]\n", '[garden]\nmix_file = "mine.toml"\n', 1), encoding="utf-8")
    assert load(file).garden.mix_file == str(tmp_path / "mine.toml")
    assert any("the page cannot mix by it" in note for note in warnings(load(file)))
    (tmp_path / "mine.toml").write_bytes(MIX.read_bytes())
    assert not any("mix" in note for note in warnings(load(file)))
