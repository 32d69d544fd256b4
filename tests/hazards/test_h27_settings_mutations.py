"""H27: a slip in the settings file (mL for L, minutes for seconds, a sign, a word) makes no dose larger.

Every number that a settings file may hold, those left to their defaults included, is put wrong in every way. The
file is then refused with the key named; or the dose that comes of it, on the bench as it truly is, is no larger.
The limits of "too large" need no earlier settings to compare with. Where there are some, from the last run, a
change by more than three times needs a person's word too, however plausible it is for this water.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from config.load import SettingsError, load
from config.settings import Settings
from daemon.desk.requests import Origin, RequestRefused
from daemon.dose.permit import limits_of, permit
from daemon.dose.windows import Totals
from daemon.values import Condition, Permit, Quantity, Role, VerdictReason
from drivers.registry import check_probe, wiring_of
from sim_hw import grower
from tests.at_the_tank import TO_A_DOSE, at_the_tank, one_bed, pump_settings, raw_settings
from tests.hazards.ground import CALIBRATION, Ground, runs_of
from tests.strategies import facts, request

Key = tuple[str, ...]
Note = Callable[[str, object], None]
ROUNDING = 1.001
PASSES = 20
FACTORS = ("1000", "0.001", "-1")
SLIPS = (*FACTORS, "nan", "inf", "-inf", "null", '"text"', "as text", "[]", "gone")

# What is accepted although it says something else, and why no dose is larger for it.
NO_LARGER = {
    **dict.fromkeys(("calibration_warn_days 0.001", "pump_rate_warn_days 0.001"), "warns earlier"),
    "bands.ec_low_ms_per_cm 0.001": "a wider band for alarms; nothing doses by it",
    "bands.temperature_low_c 0.001": "a wider band for alarms",
    **dict.fromkeys(("ph.ml_per_ph 0.001", "ph.share_of_need 0.001"), "less is asked for"),
    **dict.fromkeys(
        ("water.change_out_days 0.001", "water.change_out_fills 0.001"), "new water is advised sooner"
    ),
    "ec.share_of_need 0.001": "less is asked for",
    "ph.ml_per_ph gone": "the default asks for less",
    **dict.fromkeys(
        ("probe.ph.gain -1", "probe.ph.zero_v 0.001", "probe.ph.zero_v -1"),
        "a calibration made behind another wiring does not count",
    ),
    **dict.fromkeys(("probe.ec.ms_per_v 1000", "probe.ec.ms_per_v 0.001"), "nothing doses by EC"),
    **{
        f"pump.{role}.{slip}": why
        for role in ("ph_down", "ph_up")
        for slip, why in {
            "bottle_ml 0.001": "the bottle counts as empty sooner",
            "max_per_dose_ml gone": "a cap left out is zero",
            "max_per_hour_ml gone": "a cap left out is zero",
            "max_per_day_ml gone": "a cap left out is zero",
            "min_gap_s gone": "the default is longer",
            "smallest_dose_ml 0.001": "smaller doses are tried as well",
        }.items()
    },
}


@cache
def whole() -> dict[str, Any]:
    """The example's tables with every default filled in."""
    raw = raw_settings()
    raw["rig"] = {"open": "drivers.pi:open_rig"}  # what is on the bench is no setting of ours
    return filled(Settings.model_validate(raw))


def filled(settings: Settings) -> dict[str, Any]:
    """The tables of these settings with every default in them, those of the drivers too."""
    tables = settings.model_dump()
    for reservoir in tables["reservoir"].values():
        for quantity, probe in reservoir["probe"].items():
            reservoir["probe"][quantity] = probe | check_probe(probe["driver"], probe).model_dump()
    return tables


def numbers(table: Mapping[str, Any], at: Key = ()) -> Iterator[tuple[Key, float]]:
    """Each number below a table by its path."""
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from numbers(value, (*at, key))
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield (*at, key), value


def toml(table: Mapping[str, Any], at: Key, instead: tuple[Key, str]) -> Iterator[str]:
    """The lines of a TOML file, with one value replaced; what is None is left out."""
    yield f"[{'.'.join(at)}]" if at else ""
    for key, value in table.items():
        if isinstance(value, Mapping | list) or value is None:
            continue
        text = instead[1] if (*at, key) == instead[0] else json.dumps(value, default=str)
        if text != "gone":
            yield f"{key} = {text}"
    for key, value in table.items():
        if isinstance(value, Mapping):
            yield from toml(value, (*at, key), instead)


def slipped(value: float, slip: str) -> str:
    """What stands in the file instead of `value`: an integer stays one where it can."""
    if slip == "as text":
        return f'"{value}"'
    if slip not in FACTORS:
        return slip
    wrong = value * float(slip)
    return repr(int(wrong) if isinstance(value, int) and wrong == int(wrong) else wrong)


@dataclass(frozen=True)
class Tried:
    """One slip: what the file said, and what came of it."""

    path: Key
    slip: str
    settings: Settings | None
    complaints: str

    @property
    def name(self) -> str:
        return f"{'.'.join(self.path[2:] or self.path)} {self.slip}"


@pytest.fixture(scope="module")
def tried(tmp_path_factory: pytest.TempPathFactory) -> list[Tried]:
    """Every slip of every number."""
    path = tmp_path_factory.mktemp("settings") / "site.toml"
    found = []
    for at, value in numbers(whole()):
        for slip in SLIPS:
            path.write_text("\n".join(toml(whole(), (), (at, slipped(value, slip)))), encoding="utf-8")
            try:
                found.append(Tried(at, slip, load(path), ""))
            except SettingsError as error:
                found.append(Tried(at, slip, None, str(error)))
    return found


def accepted(tried: list[Tried]) -> dict[str, Settings]:
    """By name, the settings that loaded although they say something else."""
    return {each.name: each.settings for each in tried if each.settings and filled(each.settings) != whole()}


def test_a_slip_is_refused_by_name_or_known_to_do_no_harm(tried: list[Tried], record_property: Note) -> None:
    """Each number of the file, in each way: the complaint names the key; what is accepted is listed here."""
    refused = [each for each in tried if each.settings is None]
    assert all(each.path[-1] in each.complaints for each in refused)
    assert sorted(accepted(tried)) == sorted(NO_LARGER)
    record_property("figure", f"{len(tried)} slips of {len(tried) // len(SLIPS)} numbers, {len(refused)} refused")


SPENT = [
    Totals(hour_ml, day_ml, 0.0, since_s, since_s, far_s)
    for hour_ml, day_ml in ((0.0, 0.0), (14.0, 14.0), (0.0, 49.0), (59.0, 149.0))
    for since_s in (None, 100.0, 359.0, 400.0, 900.0)
    for far_s in (None, 7000.0, 20000.0, 80000.0)
]


def allowed_s(settings: Settings) -> list[float]:
    """The longest run that the caps let any pump have, in each of many states of the ledger."""
    bed = settings.reservoir["bed1"]
    found = []
    for role in bed.pump:
        for spent in SPENT:
            known = facts(volume_l=bed.volume_l, mixing_time_s=bed.mixing_time_s, spent=spent)
            answer = permit(request(400.0, Role(role)), limits_of(Role(role), bed), known)
            found.append(answer.run_s if isinstance(answer, Permit) else 0.0)
    return found


def test_what_is_accepted_lets_no_pump_run_longer(tried: list[Tried]) -> None:
    """Of whatever is asked, in whatever state of the ledger, the caps allow no more seconds than before."""
    usual = allowed_s(Settings.model_validate(whole()))
    assert max(usual) == pytest.approx(8.0)
    assert 0.0 in usual
    for name, settings in accepted(tried).items():
        assert all(now <= then for now, then in zip(allowed_s(settings), usual, strict=True)), name


def calibrated() -> dict[str, bytes]:
    """A state folder in which pH was calibrated behind the wiring that is meant."""
    probe = whole()["reservoir"]["bed1"]["probe"]["ph"]
    return {"calibrations.toml": f'{CALIBRATION}wiring = "{wiring_of(probe["driver"], probe)}"\n'.encode()}


def ran_s(settings: Settings, start_ph: float) -> float:
    """How long the pumps run within the first passes, on the bench as it truly is."""
    ground = Ground(settings, files=calibrated(), wired=one_bed(), tank={"start_ph": start_ph})
    ground.start(trusted=True)
    ground.passes(PASSES)
    total_s = sum(line_s(ground))
    ground.close()
    return total_s


def line_s(ground: Ground) -> Iterator[float]:
    for line in {edge.line for edge in ground.edges()}:
        yield from (
            end - start for start, end in runs_of((e for e in ground.edges() if e.line == line), ground.real_s)
        )


@pytest.mark.parametrize("start_ph", [7.2, 5.0])
def test_what_is_accepted_makes_no_dose_larger(tried: list[Tried], start_ph: float) -> None:
    """The whole program on water that asks for acid, or for base."""
    usual_s = ran_s(Settings.model_validate(whole()), start_ph)
    assert usual_s > 3.0
    for name, settings in accepted(tried).items():
        assert ran_s(settings, start_ph) <= ROUNDING * usual_s, name


NEEDS_NO_WORD = ("bands.", "calibration_warn_days", "water.change_out")  # no dose rests on them


def test_a_slip_under_earlier_settings_only_watches_until_a_person_clears(
    tried: list[Tried], tmp_path: Path, record_property: Note
) -> None:
    """Everything that is accepted and a thousand times, a thousandth or negated: named, old and new, no dose."""
    with at_the_tank(tmp_path, Settings.model_validate(whole()), wired=one_bed()) as at:
        at.passes(TO_A_DOSE)
        assert at.runs()
    slips = {name: settings for name, settings in accepted(tried).items() if name.split()[1] in FACTORS}
    told = 0
    for name, settings in slips.items():
        with at_the_tank(tmp_path, settings, wired=one_bed()) as at:
            state = at.passes(2)
            if name.startswith(NEEDS_NO_WORD):
                assert "settings" not in at.alarms(), name
                continue
            assert at.bed().condition is Condition.WATCHING, name
            assert f"{name.split()[0]} was " in at.alarms()["settings"].text
            assert any("evenwater clear" in note for note in state.notes)
            told += 1
    assert told > 10
    record_property("figure", f"{told} slips under earlier settings: each only watches, key named at look 1")


def test_only_clear_at_the_tank_takes_changed_settings_over(tmp_path: Path) -> None:
    """Five times the cap, meant so: no release and no restart will do; one word, then it is the usual one."""
    with at_the_tank(tmp_path, pump_settings(max_per_dose_ml=1.0)) as at:
        at.passes(1)
    changed = pump_settings(max_per_dose_ml=5.0)
    with at_the_tank(tmp_path, changed) as at:
        at.passes(TO_A_DOSE)
        assert at.runs() == []
        assert "pump.ph_down.max_per_dose_ml was 1, is 5" in at.alarms()["settings"].text
        at.ask("release")
        with pytest.raises(RequestRefused, match="person at the tank"):
            at.ask("clear", Origin.REMOTE)
        at.passes(TO_A_DOSE)
        assert at.runs() == []
    with at_the_tank(tmp_path, changed) as at:
        at.passes(1)
        assert "watching ended" in at.ask("clear")["said"]
        at.until(lambda _: at.runs() != [], within=2 * TO_A_DOSE)
        assert "settings" not in at.alarms()
    with at_the_tank(tmp_path, changed) as at:
        at.passes(1)
        assert at.bed().condition is Condition.KEEPING


def test_clearing_a_lock_does_not_take_changed_settings_over(tmp_path: Path) -> None:
    """The person looked at the lock; the next word is for the settings."""
    with at_the_tank(tmp_path, pump_settings(max_per_dose_ml=1.0)) as at:
        at.passes(1)
        at.loop.reservoirs["bed1"].lock("a wet tray", at.loop.stamp())
    with at_the_tank(tmp_path, pump_settings(max_per_dose_ml=5.0)) as at:
        at.passes(1)
        assert "watching" in at.ask("clear")["said"]
        assert "keeping" in at.ask("clear")["said"]


@pytest.mark.parametrize("slip", ["probe.ph.gain -1", "probe.ph.zero_v 0.001"])
def test_a_calibration_made_behind_another_wiring_does_not_count(tried: list[Tried], slip: str) -> None:
    """What changed is named, and what to do; put back, the old calibration is in force again."""
    ground = Ground(accepted(tried)[slip], files=calibrated(), wired=one_bed())
    ground.start(trusted=True)
    verdict = ground.passes(2).reservoirs["bed1"].verdicts[Quantity.PH]
    assert verdict.reason is VerdictReason.NOT_CALIBRATED
    assert f"{slip.rpartition('.ph.')[2].partition(' ')[0]} was " in verdict.note
    assert "calibrate again" in verdict.note
    ground.stop()
    ground.settings = Settings.model_validate(whole())
    ground.start(trusted=True)
    assert ground.passes(PASSES).reservoirs["bed1"].verdicts[Quantity.PH].usable
    ground.close()


def test_a_new_calibration_counts_behind_the_new_wiring(tried: list[Tried], record_property: Note) -> None:
    """The person moved a plug and calibrates again: the wiring of now is kept beside it."""
    moved = whole()["reservoir"]["bed1"]["probe"]["ph"] | {"conversions": 8, "zero_v": 1.6}
    settings = one_bed(probe={**whole()["reservoir"]["bed1"]["probe"], "ph": moved})
    ground = Ground(settings, files=calibrated(), wired=one_bed())
    ground.start(trusted=True)
    assert not ground.passes(PASSES).reservoirs["bed1"].verdicts[Quantity.PH].usable
    ground.calibrate()
    assert ground.passes(PASSES).reservoirs["bed1"].verdicts[Quantity.PH].usable
    record_property("figure", "gain negated under a calibration: not calibrated at look 1, 0 doses")
    ground.close()


def test_a_mirrored_ph_probe_cannot_be_calibrated(tried: list[Tried]) -> None:
    """Its slope has the wrong sign; the standards show it at once."""
    ground = Ground(accepted(tried)["probe.ph.gain -1"], wired=one_bed())
    ground.start(trusted=True)
    with pytest.raises(grower.GrowerStoppedError, match="calibrating ph"):
        ground.calibrate()
    ground.close()
