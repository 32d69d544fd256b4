"""`evenwater report` and `evenwater crop book`, as a grower types them."""

from __future__ import annotations

import csv
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from daemon.cli.main import main
from daemon.dose.ledger import Ledger
from daemon.values import Role
from tests.at_the_tank import BEGINNING, AtTheTank
from tests.dose.ledgers import opened, permitted
from tests.strategies import stamp

FED = Path(__file__).parents[2] / "config" / "rigs" / "quince-lane-fed.toml"
Typed = Callable[..., int]
DIARY = (
    ("sown", "spring-1", "--crop", "lettuce", "--variety", "butterhead", "--plugs", "6", "--day", "2026-02-01"),
    ("transplanted", "spring-1", "--heads", "5", "--reservoir", "bed1", "--day", "2026-03-01"),
    ("lost", "spring-1", "--heads", "1", "--cause", "slugs, many", "--day", "2026-03-05"),
    ("picked", "spring-1", "--heads", "4", "--grams", "600", "--day", "2026-03-20"),
    ("eaten", "spring-1", "--grams", "450", "--day", "2026-03-21"),
    ("sown", "spring-2", "--crop", "lettuce", "--variety", "cos", "--plugs", "6", "--day", "2026-03-01"),
)


@pytest.fixture
def typed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Typed:
    """A command on a state folder with two batches; the first stood in bed1 on the day of the ledger's stamps."""
    monkeypatch.setattr("daemon.cli.crop_settings.USUAL", tmp_path / "site.toml")
    monkeypatch.delenv("EVENWATER_SETTINGS", raising=False)

    def typed(*words: str) -> int:
        return main([*words, "--state", str(tmp_path)])

    for words in DIARY:
        assert typed("crop", "did", *words) == 0
    return typed


@pytest.fixture
def dosed(tmp_path: Path) -> None:
    """20 mL of acid into bed1, while the first batch stood in it."""
    ledger: Ledger = opened(tmp_path)
    ledger.intend(permitted(20.0, Role.PH_DOWN, 20.0), stamp(10.0))
    ledger.close()


def test_a_batch_in_lines(typed: Typed, dosed: None, capsys: pytest.CaptureFixture[str]) -> None:
    """Plants, amounts, costs; acid at 9 EUR a litre."""
    capsys.readouterr()
    assert typed("report", "spring-1", "--settings", str(FED)) == 0
    said = capsys.readouterr().out
    assert "picked                  4 heads, 600 g" in said
    assert "of the harvest          eaten 75 %, not told 25 %" in said
    assert "pH down                 20 mL       0.18 EUR" in said
    assert "for each head cut; in the shop it is 1.80 EUR" in said
    assert "spring-2" not in said


def test_without_settings_it_says_what_it_does_not_know(
    typed: Typed, dosed: None, capsys: pytest.CaptureFixture[str]
) -> None:
    """Never 0 EUR."""
    capsys.readouterr()
    assert typed("report", "spring-1") == 0
    said = capsys.readouterr().out
    assert "pH down                 20 mL       name its price in [prices]" in said
    assert "electricity             not known   the settings would tell: --settings" in said
    assert "water                   not known   the settings would tell: --settings" in said
    assert "What it cost is not known." in said
    assert "note: No settings file was read" in said
    assert "EUR" not in said


def test_the_table_is_csv_that_any_program_reads(
    typed: Typed, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """RFC 4180: a comma in a cause is quoted; what is not known is empty."""
    file = tmp_path / "season.csv"
    assert typed("report", "--all", "--settings", str(FED), "--csv", str(file)) == 0
    assert f"2 batches are in {file}" in capsys.readouterr().out
    raw = file.read_bytes().decode()
    assert raw.endswith("\r\n")
    assert '"slugs, many 1"' in raw
    with file.open(newline="", encoding="utf-8") as opened_file:
        first, second = csv.DictReader(opened_file)
    assert (first["heads_picked"], first["heads_lost"], first["share_wasted"]) == ("4", "1", "0.2")
    assert (second["batch"], second["grams_per_head"], second["water_l"]) == ("spring-2", "", "")


def test_the_page_is_written_anew(typed: Typed, tmp_path: Path) -> None:
    """And whole: the old one stays until the new is there."""
    file = tmp_path / "one.html"
    file.write_text("old")
    assert typed("report", "spring-1", "-o", str(file)) == 0
    page = file.read_text()
    assert page.startswith("<!doctype html>")
    assert page.endswith("</html>\n")
    assert "Nothing of it was read in this time." in page
    assert {path.name for path in tmp_path.iterdir()} >= {"one.html", "crop-diary.jsonl"}


def test_it_is_json_for_programs(typed: Typed, capsys: pytest.CaptureFixture[str]) -> None:
    """One value, unknown as null."""
    capsys.readouterr()
    assert typed("report", "--all", "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert [batch["batch"] for batch in told["batches"]] == ["spring-1", "spring-2"]
    assert told["batches"][0]["water_l"] is None
    assert told["season"]["lost"] == {"slugs, many": 1}


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((), 2, "name one batch, or --all"),
        (("spring-1", "--all"), 2, "name one batch, or --all"),
        (("spring-9",), 2, "batch spring-9: was never sown; there are: spring-1, spring-2"),
        (("spring-1", "--settings", "nowhere.toml"), 1, "nowhere.toml: no such file"),
        (("spring-1", "-o", "no/such/folder/one.html"), 1, "no/such/folder"),
    ],
)
def test_what_cannot_be_is_told(
    typed: Typed, words: tuple[str, ...], code: int, said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """On standard error, with what there is."""
    assert typed("report", *words) == code
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("words", [("-o", "site.toml"), ("--csv", "season.html")])
def test_a_slip_overwrites_nothing(typed: Typed, words: tuple[str, ...]) -> None:
    """A file that is written has the ending of its kind."""
    with pytest.raises(SystemExit) as ended:
        typed("report", "--all", *words)
    assert ended.value.code == 2


def test_a_damaged_ledger_is_told(typed: Typed, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Amounts are not guessed at."""
    (tmp_path / "ledger.db").write_text("no database, only text" * 100)
    assert typed("report", "spring-1") == 1
    assert "ledger.db is not a ledger" in capsys.readouterr().err


def test_it_reads_beside_a_running_daemon(tank: AtTheTank, capsys: pytest.CaptureFixture[str]) -> None:
    """Which goes on undisturbed, and whose newest dose is in it."""
    state = tank.service.folder
    day = BEGINNING.date().isoformat()
    for words in (("sown", "a", *DIARY[0][2:8]), ("transplanted", "a", "--heads", "5", "--reservoir", "bed1")):
        assert main(["crop", "did", *words, "--day", day, "--state", str(state)]) == 0
    tank.ask("poured", pump="ph_down", ml=3.0, note="", sure=True)
    capsys.readouterr()
    assert main(["report", "a", "--state", str(state), "--settings", str(FED)]) == 0
    assert "pH down                 3 mL" in capsys.readouterr().out
    tank.passes(2)
    assert tank.service.ledger.fault is None


# crop book


def test_the_book(typed: Typed, capsys: pytest.CaptureFixture[str]) -> None:
    """A line for each batch, dashes for what is not known, the sums below."""
    capsys.readouterr()
    assert typed("crop", "book") == 0
    head, first, second, _, sums, became, lost = capsys.readouterr().out.splitlines()
    assert head.split()[:3] == ["batch", "sown", "plugs"]
    assert re.sub(" +", " ", first) == "spring-1 2026-02-01 6 – 5 4 600 g 150 g 47 1 75 % 20 %"
    assert re.sub(" +", " ", second) == "spring-2 2026-03-01 6 – 0 0 – – – 0 – –"
    assert sums == "4 heads picked of 5 set out, 600 g in all."
    assert became == "Of the harvest: eaten 75 %, not told 25 %."
    assert lost == "Lost: slugs, many 1. Wasted, of heads gone: 20 %."


def test_the_book_for_programs(typed: Typed, capsys: pytest.CaptureFixture[str]) -> None:
    """The same columns as the table of the report."""
    capsys.readouterr()
    assert typed("crop", "book", "--json") == 0
    assert [row["heads_picked"] for row in json.loads(capsys.readouterr().out)] == [4, 0]


def test_an_empty_book_says_how_to_begin(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No table of nothing."""
    assert main(["crop", "book", "--state", str(tmp_path)]) == 0
    assert "evenwater crop did sown --help" in capsys.readouterr().out
