"""What a settings file means, in sentences, and whether the box is ready for it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from config.plausible import wire_words
from config.settings import Reservoir, Settings
from drivers.air import Sht3xWiring
from drivers.barriers import Barrier, judge, missing
from drivers.box import ROOT, Facts, Use, look
from drivers.thermometers import Ds18b20Wiring
from drivers.wiring import AdcWiring

PI = "drivers.pi"  # the rig whose box has barriers to be seen


def seen_of_the_box(settings: Settings, folder: Path | None = None) -> Facts:
    """What the box shows of itself now. folder: where the state is kept, if not where the settings say."""
    use = use_of(settings)
    return look(ROOT, use if folder is None else replace(use, state_folder=folder))


def barriers(settings: Settings, facts: Facts) -> tuple[Barrier, ...]:
    """Each of them, judged; none on a rig whose box has none to be seen."""
    return judge(facts) if settings.rig.open.partition(":")[0] == PI else ()


def use_of(settings: Settings) -> Use:
    """What the settings need of the box they run on."""
    probes = [probe for reservoir in settings.reservoir.values() for probe in reservoir.probe.values()]
    wired = [probe.wired() for probe in probes]
    return Use(
        state_folder=Path(settings.site.state_folder),
        i2c_buses=tuple(sorted({one.i2c_bus for one in wired if isinstance(one, AdcWiring | Sht3xWiring)})),
        one_wire=any(isinstance(one, Ds18b20Wiring) for one in wired),
    )


def why_not_kept(settings: Settings, barriers: tuple[Barrier, ...]) -> str | None:
    """Why a reservoir that is to keep itself may not here; None where nothing is against it."""
    kept = [name for name, reservoir in settings.reservoir.items() if reservoir.start == "keeping"]
    lacking = ", ".join(barrier.name for barrier in missing(barriers))
    if not kept or not lacking:
        return None
    return (
        f'[reservoir.{kept[0]}] start = "keeping": not while a barrier is missing ({lacking}); '
        'do what stands beside it above, or set start = "watching"'
    )


def meaning(settings: Settings) -> list[str]:
    """What the file says, in sentences."""
    site = settings.site
    lines = [
        f"{site.name} (device {site.device_id}), a pass every {site.pass_every_s:g} s, rig {settings.rig.open}"
    ]
    for name, reference in settings.reference.items():
        low_v, high_v = reference.named(name).allowed_v
        (wire,) = reference.claims()
        lines.append(
            f"reference {name}: {low_v:.3f} to {high_v:.3f} V at {wire_words(wire)}, else no dose by its probes"
        )
    if settings.cut_out is not None:
        lines.append(f"cut-out of all pumps' supply: GPIO {settings.cut_out.line}, on for each run only")
    for name, reservoir in settings.reservoir.items():
        lines += _reservoir(name, reservoir)
    return lines


def _reservoir(name: str, reservoir: Reservoir) -> list[str]:
    lines = [f"{reservoir.title} [{name}]: {reservoir.volume_l:g} L, starts {reservoir.start}"]
    lines += [f"  {quantity:<12}{probe.driver}" for quantity, probe in reservoir.probe.items()]
    for role, pump in reservoir.pump.items():
        caps = (pump.max_per_dose_ml, pump.max_per_hour_ml, pump.max_per_day_ml)
        if None in caps:
            lines.append(f"  {role:<12}GPIO {pump.line}: never doses, a cap is not set")
        else:
            most = f"{caps[0]:g} mL a dose, {caps[1]:g} an hour, {caps[2]:g} a day"
            lines.append(f"  {role:<12}GPIO {pump.line}: at most {most}")
    return lines
