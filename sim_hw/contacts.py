"""Contacts, as a pin sees them: closed or open."""

from __future__ import annotations

from random import Random

from sim_hw.faults import FaultName
from sim_hw.probes import Probe
from sim_hw.tables import (
    ContactTable,
    FloatSwitchTable,
)


class Contact(Probe):
    """A contact that is closed while what it watches is well."""

    can_fail = frozenset({FaultName.PROBE_UNPLUGGED})

    def __init__(self, table: ContactTable, random: Random) -> None:
        super().__init__(table, random)
        self.line = table.line

    def closed(self) -> bool:
        """Whether it is closed at the other end of its wires."""
        return FaultName.PROBE_UNPLUGGED not in self.faults


class FloatSwitch(Probe):
    """A switch to ground that changes at one level."""

    can_fail = frozenset({FaultName.PROBE_UNPLUGGED, FaultName.PROBE_STUCK})

    def __init__(self, table: FloatSwitchTable, random: Random) -> None:
        super().__init__(table, random)
        self.line = table.line
        self._closed_means_enough = table.closed_means == "enough"
        self._switches_at_share = table.switches_at_share
        self._closed = False

    def float_at(self, level_share: float) -> None:
        """The water's level, as a share of the volume at the start."""
        if FaultName.PROBE_STUCK not in self.faults:
            enough = level_share > self._switches_at_share
            self._closed = enough is self._closed_means_enough

    def closed(self) -> bool:
        """Whether the contact is closed at the other end of its wires."""
        return self._closed and FaultName.PROBE_UNPLUGGED not in self.faults
