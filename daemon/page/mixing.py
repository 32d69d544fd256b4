"""The mix that a query asks for, reckoned from the mix file that the settings name: as `evenwater mix` does."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Mapping

from config.crop import load_crop
from config.gardening import own_crops
from config.mix import MixFile, load_mix
from config.settings import Settings
from config.toml_file import SettingsError
from daemon.crop.contents import MixError
from daemon.crop.nonnegative import NoAnswerError
from daemon.mixes import FOLD, LARGEST_L, answer, changed
from daemon.page.acts import number_of
from daemon.page.views.mixing import AS_THE_FILE, Mixing, Strength

_ONE_AT_A_TIME = threading.Lock()  # it reckons for a second on a small box, and whoever looks may ask
USUAL_FOLD = 100.0


def mixing(settings: Settings, asked: Mapping[str, str]) -> Mixing:
    """What to weigh, or what stands in its way."""
    garden = settings.garden
    if garden.mix_file is None:
        return Mixing()
    try:
        file = load_mix(garden.mix_file)
        strengths = {AS_THE_FILE: _of_file(file), **dict(_of_crops(settings))}
    except SettingsError as wrong:
        return Mixing(named=garden.mix_file, trouble=tuple(str(wrong).splitlines()))
    shown = Mixing(garden.mix_file, file, {name: of.text for name, of in strengths.items()}, asked)
    try:
        mix = changed(file, **_change(asked, strengths))
        with _ONE_AT_A_TIME:
            return shown.answered(answer(mix))
    except (MixError, NoAnswerError, ValueError) as trouble:
        return shown.refused(str(trouble))


def _of_file(file: MixFile) -> Strength:
    if file.ec_ms_per_cm is not None:
        return Strength(f"as the mix file has it: EC {file.ec_ms_per_cm:g} mS/cm", None)
    return Strength(f"as the mix file has it: {file.strength_percent or 100.0:g} % of the recipe", None)


def _of_crops(settings: Settings) -> Iterator[tuple[str, Strength]]:
    """What each stage of each crop wants that the settings name. Raises SettingsError."""
    named = [want.crop for want in settings.garden.want.values()]
    named += [one.crop for one in settings.reservoir.values() if one.crop is not None]
    for name in dict.fromkeys(named):
        crop = load_crop(name, own_crops(settings))
        for stage in crop.stage:
            ec = stage.ec_target_ms_per_cm
            text = f"{crop.title}, {stage.name} (from day {stage.from_day:g}): EC {ec:g} mS/cm"
            yield f"{name}/{stage.name}", Strength(text, ec)


def _change(asked: Mapping[str, str], strengths: Mapping[str, Strength]) -> dict[str, float | None]:
    """What is asked for other than the file has it. Raises ValueError with what is allowed."""
    strength = asked.get("for", AS_THE_FILE)
    if strength not in strengths:
        raise ValueError(f"for = {strength!r}: must be one of {', '.join(strengths)}")
    own_ec = _within(asked, "ec", "EC of your own", "mS/cm", (0.0, 6.0))
    stock_l = _within(asked, "stock_l", "litres of each concentrate", "L", (0.0, 2000.0))
    fold = _within(asked, "fold", "how strong the concentrates are", "mL", FOLD)
    return {
        "volume_l": _within(asked, "litres", "litres of the tank", "L", (0.0, LARGEST_L)),
        "ec_ms_per_cm": strengths[strength].ec_ms_per_cm if own_ec is None else own_ec,
        "stock_l": stock_l,
        "strength": None if stock_l is None else fold or USUAL_FOLD,
    }


def _within(
    asked: Mapping[str, str], name: str, what: str, unit: str, bounds: tuple[float, float]
) -> float | None:
    """The number of a field, None where it is empty. Raises ValueError with what is allowed; 0 never is."""
    number = number_of(asked, name, what)
    if number is None:
        return None
    low, high = bounds
    if not (low <= number <= high and number > 0.0):
        least = f"{low:g} to" if low else "above 0, at most"
        raise ValueError(f"{what}: {number:g} {unit}: must be {least} {high:g} {unit}")
    return number
