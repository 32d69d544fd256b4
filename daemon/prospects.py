"""Where batches stand, by the settings and their crops' files, and what is believed of them there. Reads only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from config.crop import Crop, load_crop
from config.gardening import own_crops
from config.settings import Settings
from daemon.crop.diary import Batch
from daemon.crop.growth import Lamp
from daemon.growing import USUAL_AIR_C, Prospect, Room, lamps_of, prospect
from daemon.store.trend import Trends

USUAL_HEAD_G = 150.0
USUAL_SPACING_CM = 20.0
CM2_PER_M2 = 1e4


@dataclass(frozen=True, slots=True)
class Places:
    """The places of a garden. settings: None where there are none.

    lamp, plants_per_m2, wanted_g: of every batch, where somebody tells them; air_c: where no air was measured.
    """

    settings: Settings | None
    lamp: Lamp | None = None
    air_c: float = USUAL_AIR_C
    plants_per_m2: float | None = None
    wanted_g: float | None = None

    def room(self, batch: Batch) -> Room:
        """The place of a batch. Raises SettingsError where its crop's file cannot be read."""
        crop = load_crop(batch.crop, None if self.settings is None else own_crops(self.settings))
        spacing_cm, head_g = _variety(crop, batch.variety)
        return Room(
            plants_per_m2=self.plants_per_m2 or CM2_PER_M2 / spacing_cm**2,
            wanted_g=self.wanted_g or head_g,
            lamps=self._lamps(batch),
            air_c=self.air_c,
        )

    def _lamps(self, batch: Batch) -> tuple[Lamp, ...]:
        if self.lamp is not None:
            return (self.lamp,)
        if self.settings is None or not batch.reservoirs:
            return ()
        return lamps_of(self.settings.appliance.values(), batch.reservoirs[0][0])


def _variety(crop: Crop, name: str) -> tuple[float, float]:
    """Spacing in cm and usual g of a head; usual ones for a variety the crop's file does not know."""
    known = crop.variety.get(name)
    return (USUAL_SPACING_CM, USUAL_HEAD_G) if known is None else (known.spacing_cm, known.head_g)


def set_out(known: Mapping[str, Batch]) -> list[Batch]:
    """Those of which heads stand in a reservoir."""
    return [batch for batch in known.values() if batch.transplanted_on is not None and batch.heads > 0]


def prospect_in(
    places: Places, batch: Batch, known: Mapping[str, Batch], trends: Trends | None, now: datetime
) -> Prospect:
    """What is believed of the batch there, by the batches of its kind before it. Raises as `growing.prospect`."""
    earlier = [
        (one, places.room(one))
        for one in known.values()
        if (one.crop, one.variety) == (batch.crop, batch.variety) and one.sown_on < batch.sown_on
    ]
    return prospect(trends, batch, earlier, places.room(batch), now)
