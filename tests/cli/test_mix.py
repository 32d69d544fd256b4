"""`evenwater mix`: the invented garden's mix as a grower runs it, back again, as JSON, and what is refused."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from daemon.cli.main import main

TOP = Path(__file__).parents[2]
EXAMPLE = str(TOP / "config" / "mixes" / "quince-lane.toml")
PAGE = TOP / "docs" / "mixing.md"
FINE, FAILED, MISUSED = 0, 1, 2
HARD = """
title = "A hard water (invented)"
volume_l = 10.0
recipe = "sonneveld_lettuce"
scale_g = 1.0
measure_ml = 1.0

[water]
mg_per_l = { calcium = 95.0, magnesium = 18.0, sodium = 60.0, chloride = 90.0, sulfate = 60.0, nitrate = 15.0 }
alkalinity_mmol_per_l = 4.6

[shelf.calcium_nitrate_tetrahydrate]
[shelf.potassium_nitrate]
[shelf.part_b]
label_percent = { N = 1.0, P2O5 = 4.0, K2O = 6.0 }
density_g_per_ml = 1.15
"""


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Exit code, what is printed, and what goes to standard error."""
    code = main(["mix", *words])
    said = capsys.readouterr()
    return code, said.out, said.err


def as_json(capsys: pytest.CaptureFixture[str], *words: str) -> Any:
    code, out, _ = run(capsys, *words, "--json")
    assert code == FINE
    return json.loads(out)


def hard(folder: Path) -> str:
    path = folder / "hard.toml"
    path.write_text(HARD, encoding="utf-8")
    return str(path)


# --- as shown -------------------------------------------------------------------------------------------


def test_the_page_shows_what_the_command_prints(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """docs/mixing.md: the run, line for line. Renew it by running the command."""
    monkeypatch.chdir(TOP)
    page = PAGE.read_text(encoding="utf-8")
    shown = re.search(r"^    \$ evenwater (mix .*)\n((?:(?:    .*)?\n)+?)\nHow to read it:", page, re.MULTILINE)
    assert shown is not None
    assert main(shown[1].split()) == FINE
    printed = capsys.readouterr().out
    assert [line.removeprefix("    ") for line in shown[2].rstrip().splitlines()] == printed.rstrip().splitlines()


def test_every_command_of_the_page_runs(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """And the tables that it shows are read."""
    monkeypatch.chdir(TOP)
    commands = re.findall(r"^    (?:\$ )?evenwater (mix .*)$", PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    assert len(commands) == 4
    for words in commands:
        assert main(words.split()) == FINE, words
        assert capsys.readouterr().err == ""


def test_the_tables_of_the_page_are_read(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Its two-part feed, diluted acid and recipe, mixed."""
    page = PAGE.read_text(encoding="utf-8").partition("## Your own products")[2].partition("## With care")[0]
    tables = "\n".join(line[4:] for line in page.splitlines() if line.startswith("    "))
    own = 'title = "x"\nvolume_l = 50.0\nrecipe = "basil"\n\n[acid]\nuse = "nitric_acid_10"\n\n' + tables
    path = tmp_path / "own.toml"
    path.write_text(own, encoding="utf-8")
    code, out, _ = run(capsys, str(path))
    assert code == FINE
    assert re.search(r"leaf_feed_a +\d+\.\d mL", out)
    assert "leaf_feed_a: by its label" in out
    assert "each concentrate into the whole tank, stirred in well before the next" in out
    assert "never pour concentrates A and B together" in out


# --- what it says -----------------------------------------------------------------------------------------


def test_what_is_weighed_makes_what_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """The JSON's grams, poured back by --contains, hold the same mg/L and EC."""
    mix = as_json(capsys, EXAMPLE)
    doses = [f"{one['name']}={one['measured']:.4f}{one['unit']}" for one in mix["tank"]["weigh"]]
    for bottle in mix["tank"]["bottles"]:
        doses += [f"{one['name']}={one['measured'] / bottle['fillings']:.6f}g" for one in bottle["weigh"]]
    held = as_json(capsys, EXAMPLE, "--contains", *doses)
    assert held["contents"]["mg_per_l"] == pytest.approx(mix["contents"]["mg_per_l"], rel=1e-3)
    assert held["contents"]["ec_ms_per_cm"] == pytest.approx(mix["contents"]["ec_ms_per_cm"], rel=1e-4)
    assert held["contents"]["ec_ms_per_cm"] == pytest.approx(1.2, abs=0.02)


def test_the_tables_and_the_json_agree(capsys: pytest.CaptureFixture[str]) -> None:
    """Each name with its amount."""
    mix = as_json(capsys, EXAMPLE)
    _, out, _ = run(capsys, EXAMPLE)
    assert len(mix["tank"]["weigh"]) >= 6
    for one in mix["tank"]["weigh"]:
        assert re.search(rf"{one['name']} +{one['measured']:.1f} {one['unit']}", out), one


def test_stocks_put_calcium_apart_and_into_the_tank_in_turn(capsys: pytest.CaptureFixture[str]) -> None:
    """A litre of each, a hundredfold: 600 mL of each into 60 L, one after the other."""
    mix = as_json(capsys, EXAMPLE, "--stock-l", "1", "--strength", "100")
    a, b = ({one["name"] for one in stock["weigh"]} for stock in mix["stocks"])
    assert "calcium_nitrate_double_salt" in a - b
    assert "magnesium_sulfate" in b - a
    assert not {name for name in a if "sulfate" in name or "phosphate" in name}
    assert [stock["ml_per_tank"] for stock in mix["stocks"]] == [600.0, 600.0]
    _, out, _ = run(capsys, EXAMPLE, "--stock-l", "1")
    assert out.index("stock A, 1 L") < out.index("stock B, 1 L") < out.index("into 60 L, in this order")
    assert "never pour concentrates A and B together" in out


def test_the_stocks_are_told_as_the_settings_ask(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """mL of each that raise the tank by 1 mS/cm: in rain water, what a mix of 1 mS/cm takes of each."""
    rain = tmp_path / "rain.toml"
    dry = re.sub(r"\[water\].*?\n\n", "", HARD, flags=re.DOTALL).partition("[shelf.part_b]")[0]
    rain.write_text(dry, encoding="utf-8")
    asked = ["--stock-l", "1", "--strength", "50"]
    at_1 = as_json(capsys, str(rain), *asked, "--ec", "1.0")
    assert at_1["stock_a_ml_per_ms_per_cm"] == pytest.approx(10_000.0 / 50.0, rel=0.01)
    assert at_1["stocks"][0]["ml_per_tank"] == 200.0
    assert "stock_a_ml_per_ms_per_cm = 2" in run(capsys, str(rain), *asked, "--ec", "1.0")[1]
    assert as_json(capsys, EXAMPLE)["stock_a_ml_per_ms_per_cm"] is None


def test_the_order_of_dissolving(capsys: pytest.CaptureFixture[str]) -> None:
    """Acid first, calcium last."""
    _, out, _ = run(capsys, EXAMPLE)
    steps = [line.split()[1] for line in out.splitlines() if re.match(r"  +\d+  \S", line)]
    assert steps[0] == "nitric_acid_10"
    assert steps[-1] == "calcium_nitrate_double_salt"
    assert "never pour concentrates" not in out
    assert len(steps) == 8


@pytest.mark.parametrize(
    "caution",
    [
        "acid into water, never water into acid; goggles, gloves",
        "do not breathe the dust of salts",
        "nitrates are oxidisers",
        "trace elements: ten times too much",
        "labels, safety data sheets and local rules win",
    ],
)
def test_it_cautions(caution: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Each that belongs to what is handled."""
    _, out, _ = run(capsys, EXAMPLE)
    assert caution in out


def test_what_cannot_be_met_is_said_with_what_to_buy(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Hard water, no acid, no iron: the misses, the sodium, the label, and a scale that is too coarse."""
    code, out, _ = run(capsys, hard(tmp_path))
    assert code == FINE
    assert re.search(
        r"Fe is missed by -100 % before rounding: nothing on the shelf brings it; one of .* do: .*iron_dtpa",
        out,
    )
    assert "sodium 6" in out
    assert "lettuce bears 50; thin the water with rain water" in out
    assert "part_b: its label does not tell the kind of its nitrogen; taken as nitrate" in out
    assert "part_b: by its label, which leaves much untold: no pH" in out
    assert "pH about" not in out
    assert "acid into water" not in out
    assert "cost" not in out


def test_a_weaker_mix_in_hard_water_cannot_lose_calcium(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The water alone has more: thin it."""
    _, out, _ = run(capsys, hard(tmp_path), "--ec", "0.9")
    assert re.search(
        r"Ca is missed by \+\d+ % before rounding: the water alone has more; thin it with rain water", out
    )


def test_too_coarse_a_scale_is_said(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Half a litre on a scale of a gram."""
    _, out, _ = run(capsys, hard(tmp_path), "--volume-l", "0.5")
    assert "too little for this scale (1 g) or cylinder (1 mL): " in out
    assert "take a finer one, or mix more at once, as concentrates" in out


def test_volume_and_ec_of_the_options_win(capsys: pytest.CaptureFixture[str]) -> None:
    """Twenty litres at 1.0: a third of the volume, weaker."""
    whole, part = as_json(capsys, EXAMPLE), as_json(capsys, EXAMPLE, "--volume-l", "20", "--ec", "1.0")
    assert part["volume_l"] == 20.0
    assert part["strength"] < whole["strength"]
    assert part["contents"]["ec_ms_per_cm"] == pytest.approx(1.0, abs=0.02)


def test_what_ships_is_listed_with_what_it_holds(capsys: pytest.CaptureFixture[str]) -> None:
    """By mass, and how much dissolves at 10 °C."""
    code, out, _ = run(capsys, "--products")
    assert code == FINE
    assert re.search(r"potassium_nitrate +209  K 38\.67, NO3-N 13\.85", out)
    assert as_json(capsys, "--products")["potassium_nitrate"]["percent"]["K"] == pytest.approx(38.67, abs=0.01)
    assert re.search(r"phosphoric_acid_85 +-  P 26\.87; 1\.685 g/mL", out)


def test_what_a_tank_holds_after_doses(capsys: pytest.CaptureFixture[str]) -> None:
    """20 g of potassium nitrate into 60 L: 128.9 mg/L of potassium beside the water's 2."""
    code, out, _ = run(capsys, EXAMPLE, "--contains", "potassium_nitrate=20g", "nitric_acid_10=25ml")
    assert code == FINE
    assert "60 L after 20 g potassium_nitrate, 25 mL nitric_acid_10" in out
    assert re.search(r"  K +130\.9\n", out)
    assert re.search(r"EC 0\.\d\d ± 0\.\d\d mS/cm at 25 °C", out)


# --- refused ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--contains", "bleach=20g"], "bleach: is neither on this file's shelf nor ships"),
        (["--contains", "potassium_nitrate=20ml"], "potassium_nitrate = 20 mL: is weighed; tell its grams"),
        (["--ec", "0.1"], "ec_ms_per_cm = 0.1 mS/cm: the water has 0.32 without salts"),
        (["--ec", "50"], "ec_ms_per_cm = 50 mS/cm: this shelf reaches"),
        (["--ec", "2.5", "--stock-l", "1", "--strength", "400"], "does not stay dissolved at 10 °C"),
    ],
)
def test_what_cannot_be_mixed_is_one_with_the_reason(
    words: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """On standard error, nothing on standard output."""
    code, out, err = run(capsys, EXAMPLE, *words)
    assert (code, out) == (FAILED, "")
    assert err.startswith("evenwater mix: ")
    assert says in err


@pytest.mark.parametrize(
    "words",
    [
        [],
        [EXAMPLE, "--volume-l", "0"],
        [EXAMPLE, "--volume-l", "nan"],
        [EXAMPLE, "--volume-l", "1e9"],
        [EXAMPLE, "--ec", "-1"],
        [EXAMPLE, "--stock-l", "-1"],
        [EXAMPLE, "--stock-l", "1", "--strength", "1"],
        [EXAMPLE, "--strength", "100"],
        [EXAMPLE, "--contains", "potassium_nitrate"],
        [EXAMPLE, "--contains", "potassium_nitrate=-5g"],
        [EXAMPLE, "--contains", "potassium_nitrate=5"],
    ],
    ids=lambda words: " ".join(words[1:]) or "no file",
)
def test_used_wrongly_is_two_with_the_usage(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    """And nothing is reckoned."""
    with pytest.raises(SystemExit) as ended:
        main(["mix", *words])
    assert ended.value.code == MISUSED
    assert "usage: evenwater mix" in capsys.readouterr().err


def test_a_file_that_cannot_be_used_is_told_in_full(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Every complaint at once."""
    path = tmp_path / "bad.toml"
    path.write_text('title = "x"\nvolume_l = -1.0\nrecipe = "hoagland_1"\nlitres = 3\n', encoding="utf-8")
    code, out, err = run(capsys, str(path))
    assert (code, out) == (FAILED, "")
    assert "volume_l = -1.0: must be above 0 L" in err
    assert "litres = 3: unknown key" in err
    assert run(capsys, str(tmp_path / "nowhere.toml"))[0] == FAILED


def test_a_price_that_cannot_be_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Per litre of what is weighed."""
    path = tmp_path / "price.toml"
    path.write_text(HARD.replace("[shelf.potassium_nitrate]", "[shelf.potassium_nitrate]\nprice_per_l = 2.0"))
    code, _, err = run(capsys, str(path))
    assert code == FAILED
    assert "potassium_nitrate: price_per_l, and it is weighed" in err
