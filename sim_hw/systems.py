"""How water goes round between a reservoir and its bed.

    deep_water     roots hang in the reservoir; with bed_l, a second body of water that a pump exchanges with it
    film           a thin stream: the channels hold channel_l, refreshed all the time
    ebb_and_flow   a pump floods the bed at set hours: the reservoir falls, water goes round, then drains back
    still          no pump at all: a root layer above and the rest below even out within days

Each is asked for the `Flow` of the moment; the tank does the moving.
"""

from __future__ import annotations

from math import log
from typing import Annotated, ClassVar, Literal, NamedTuple, Self

from pydantic import Field, field_validator, model_validator

from sim_hw.strict import Table
from sim_hw.zones import LEFT_BEHIND_L

S_PER_H = 3600.0
H_PER_DAY = 24.0
HourOfDay = Annotated[float, Field(ge=0.0, lt=24.0)]


class Flow(NamedTuple):
    """What should stand in the bed now, in litres, and what goes round between bed and reservoir, in L/s.

    lifts: whether the reservoir's water can get up into a bed that holds less; if not, only the way down is open.
    mixing_time_s: until 95 % of what is poured in has mixed; None: as the tank says.
    """

    bed_l: float
    round_l_per_s: float
    lifts: bool = True
    mixing_time_s: float | None = None


class DeepWater(Table):
    """Roots in the reservoir. With bed_l (a raft channel, a dead corner) also a second zone."""

    layered: ClassVar[bool] = False
    kind: Literal["deep_water"] = "deep_water"
    bed_l: float = Field(default=0.0, ge=0.0, le=2000.0, description="of a second zone, beside volume_l")
    flow_l_per_min: float = Field(default=5.0, gt=0.0, le=1000.0, description="between reservoir and bed")
    probes_in: Literal["reservoir", "bed"] = "reservoir"
    roots_in: Literal["reservoir", "bed"] = Field(
        default="bed", description="the reservoir where there is no bed"
    )

    @field_validator("bed_l")
    @classmethod
    def _none_or_some(cls, bed_l: float) -> float:
        if not (bed_l == 0.0 or bed_l >= LEFT_BEHIND_L):
            raise ValueError(f"must be 0, for no bed, or at least {LEFT_BEHIND_L:g} L")
        return bed_l

    @model_validator(mode="after")
    def _probes_have_water(self) -> Self:
        if self.probes_in == "bed" and not self.bed_l > 0.0:
            raise ValueError('probes_in = "bed" with bed_l = 0: there is no bed; set bed_l, or leave it out')
        return self

    def flow(self, day_s: float, whole_l: float) -> Flow:
        """The same at all times."""
        return Flow(self.bed_l, self.flow_l_per_min / 60.0)

    def start_bed_l(self, volume_l: float) -> float:
        """Litres in the bed at the start, beside the reservoir's volume."""
        return self.bed_l


class Film(Table):
    """Channels with a film of water that never stops."""

    layered: ClassVar[bool] = False
    kind: Literal["film"]
    channel_l: float = Field(default=4.0, ge=0.1, le=2000.0, description="in the channels, beside volume_l")
    flow_l_per_min: float = Field(default=2.0, gt=0.0, le=1000.0, description="round and round")
    probes_in: Literal["reservoir", "bed"] = "reservoir"
    roots_in: ClassVar[Literal["bed"]] = "bed"

    def flow(self, day_s: float, whole_l: float) -> Flow:
        """The same at all times."""
        return Flow(self.channel_l, self.flow_l_per_min / 60.0)

    def start_bed_l(self, volume_l: float) -> float:
        """Litres in the channels at the start, beside the reservoir's volume."""
        return self.channel_l


class EbbAndFlow(Table):
    """A bed that is flooded at set hours of the day. Between floods its substrate holds `held_l`."""

    layered: ClassVar[bool] = False
    kind: Literal["ebb_and_flow"]
    bed_l: float = Field(default=20.0, ge=0.1, le=2000.0, description="while flooded, held_l included")
    held_l: float = Field(
        default=3.0, ge=0.1, le=2000.0, description="by the substrate between floods, beside volume_l"
    )
    flood_at_h: tuple[HourOfDay, ...] = Field(
        default=(7.0, 11.0, 15.0, 19.0), strict=False, description="when the pump starts"
    )
    flood_min: float = Field(default=15.0, ge=1.0, le=720.0, description="that the pump runs, filling included")
    pump_l_per_min: float = Field(default=4.0, gt=0.0, le=1000.0, description="into the bed")
    drain_min: float = Field(default=10.0, ge=0.5, le=240.0, description="that the bed takes to drain")
    mixing_time_at_rest_s: float | None = Field(
        default=None, ge=1.0, le=86400.0, description="while the pump is off; mixing_time_s where left out"
    )
    probes_in: Literal["reservoir", "bed"] = "reservoir"
    roots_in: ClassVar[Literal["bed"]] = "bed"

    @model_validator(mode="after")
    def _holds_less_than_the_bed(self) -> Self:
        if not self.held_l < self.bed_l:
            raise ValueError(f"held_l = {self.held_l:g}: must be below bed_l = {self.bed_l:g} L")
        return self

    @model_validator(mode="after")
    def _floods_apart(self) -> Self:
        hours = sorted(self.flood_at_h)
        takes_h = (self.flood_min + self.drain_min) / 60.0
        for first, then in zip(hours, [*hours[1:], *(hour + H_PER_DAY for hour in hours[:1])], strict=True):
            if not then - first >= takes_h:
                raise ValueError(
                    f"flood_at_h = {first:g} and {then % H_PER_DAY:g}: must be {takes_h:.2f} h apart or more, "
                    "the time of a flood (flood_min + drain_min)"
                )
        return self

    def flow(self, day_s: float, whole_l: float) -> Flow:
        """Filling at the pump's rate, full and overflowing while it runs on, draining evenly, or at rest."""
        since_s = min(((day_s - hour * S_PER_H) % (H_PER_DAY * S_PER_H) for hour in self.flood_at_h), default=1e9)
        pumped_s = min(since_s, self.flood_min * 60.0)
        risen_l = min(self.rise_l(), pumped_s * self.pump_l_per_min / 60.0)
        if since_s < self.flood_min * 60.0:
            full = risen_l >= self.bed_l - self.held_l
            return Flow(self.held_l + risen_l, self.pump_l_per_min / 60.0 if full else 0.0)
        drained = min(1.0, (since_s - pumped_s) / (self.drain_min * 60.0))
        left_l = self.held_l + risen_l * (1.0 - drained)
        return Flow(left_l, 0.0, lifts=False, mixing_time_s=self.mixing_time_at_rest_s)

    def rise_l(self) -> float:
        """Litres that a flood takes out of the reservoir."""
        return min(self.bed_l - self.held_l, self.flood_min * self.pump_l_per_min)

    def start_bed_l(self, volume_l: float) -> float:
        """Litres that the substrate holds at the start, beside the reservoir's volume."""
        return self.held_l


class Still(Table):
    """A reservoir without a pump: its level falls on purpose, and what is poured in sinks to the bottom.

    Diffusion alone would take months over a hand's depth; warm and cool hours stir it within a day or two (own
    choice). The air touches the root layer only.
    """

    layered: ClassVar[bool] = True  # its bed is the upper part of the reservoir itself
    kind: Literal["still"]
    root_layer_share: float = Field(default=0.3, ge=0.05, le=0.9, description="of volume_l, at the top")
    even_out_h: float = Field(
        default=36.0, ge=0.5, le=2000.0, description="until 63 % of a difference between the layers is gone"
    )
    probes_in: Literal["reservoir", "bed"] = Field(
        default="reservoir", description="the bottom, or the root layer"
    )
    roots_in: ClassVar[Literal["bed"]] = "bed"

    def flow(self, day_s: float, whole_l: float) -> Flow:
        """The layers keep their shares of what is left, and even out."""
        upper, lower = self.root_layer_share, 1.0 - self.root_layer_share
        even_out_s = self.even_out_h * S_PER_H
        round_l_per_s = whole_l * upper * lower / even_out_s
        return Flow(upper * whole_l, round_l_per_s, mixing_time_s=even_out_s * log(20.0))

    def start_bed_l(self, volume_l: float) -> float:
        """Litres in the root layer at the start, part of the reservoir's volume."""
        return self.root_layer_share * volume_l


System = DeepWater | Film | EbbAndFlow | Still
