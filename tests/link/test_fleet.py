"""How boxes elsewhere are, by what they publish."""

from __future__ import annotations

import pytest

from daemon.link.fleet import Change, Fleet, Standing

BOX, BEAT_S = "quince-lane", 30.0
LONG_S = 3.0 * BEAT_S + 1.0


class Watched:
    """A fleet with a clock."""

    def __init__(self, *expected: str) -> None:
        self.fleet, self.now_s, self._beat = Fleet(expected, BEAT_S), 1000.0, 0
        self.fleet.connected(self.now_s)

    def hears(self, path: str, text: str, *, retained: bool = False) -> None:
        """One message of the box."""
        self.fleet.take(BOX, path, text, self.now_s, retained=retained)

    def lives(self, seconds: float) -> list[Change]:
        """The box is ready and its heart beats; what was told meanwhile."""
        self.hears("$state", "ready")
        told: list[Change] = []
        for _ in range(round(seconds / BEAT_S)):
            self._beat += 1
            self.hears("box/heartbeat", str(self._beat))
            told += self.after(BEAT_S)
        return told

    def after(self, seconds: float) -> list[Change]:
        """Time passes; what was told at its end."""
        self.now_s += seconds
        return list(self.fleet.look(self.now_s))

    def standing(self) -> Standing:
        """How the box is."""
        return self.fleet.standings(self.now_s)[BOX]


def kinds(changes: list[Change]) -> list[Standing]:
    """What was told, without words."""
    return [change.standing for change in changes]


def test_a_box_is_well_once_its_heartbeat_moves() -> None:
    """Told once."""
    at = Watched()
    assert kinds(at.lives(600.0)) == [Standing.WELL]


@pytest.mark.parametrize(("state", "told"), [("lost", "is lost"), ("disconnected", "said goodbye")])
def test_a_box_that_goes_is_gone_at_once_and_comes_back(state: str, told: str) -> None:
    """With what to do; back again is told too."""
    at = Watched()
    at.lives(120.0)
    at.hears("$state", state)
    (change,) = at.after(0.5)
    assert change.standing is Standing.GONE
    assert told in change.text
    assert "power and network" in change.text
    assert kinds(at.lives(120.0)) == [Standing.WELL]


def test_a_loop_that_hangs_is_told_though_the_box_says_ready() -> None:
    """Its last will cannot tell that; a heartbeat that only repeats itself is none."""
    at = Watched()
    at.lives(120.0)
    assert at.after(LONG_S - BEAT_S - 2.0) == []
    at.hears("box/heartbeat", "4")
    (change,) = at.after(BEAT_S)
    assert change.standing is Standing.HUNG
    assert "no sign of life for" in change.text
    assert kinds(at.lives(60.0)) == [Standing.WELL]


def test_what_the_broker_kept_is_no_life() -> None:
    """Box and broker lost power together, and the broker came back alone."""
    at = Watched()
    at.hears("$state", "ready", retained=True)
    at.hears("box/heartbeat", "77", retained=True)
    assert at.after(LONG_S / 2.0) == []
    assert at.standing() is Standing.UNKNOWN
    assert kinds(at.after(LONG_S)) == [Standing.HUNG]


def test_a_box_that_is_expected_and_never_heard_is_silent() -> None:
    """One that nobody named cannot be missed."""
    at = Watched(BOX)
    assert at.after(LONG_S - 2.0) == []
    (change,) = at.after(3.0)
    assert (change.box, change.standing) == (BOX, Standing.SILENT)
    assert "device_id" in change.text
    assert kinds(at.lives(60.0)) == [Standing.WELL]


def test_while_cut_off_nothing_is_known_and_then_all_is_heard_anew() -> None:
    """Not even a box that was well; it is told again once it has shown itself."""
    at = Watched()
    at.lives(120.0)
    at.fleet.cut_off()
    assert at.after(10 * LONG_S) == []
    assert at.standing() is Standing.UNKNOWN
    at.fleet.connected(at.now_s)
    at.hears("$state", "ready", retained=True)
    at.hears("box/heartbeat", "4", retained=True)
    assert at.after(1.0) == []
    assert kinds(at.lives(60.0)) == [Standing.WELL]


def test_grave_alerts_are_told_once_and_when_they_are_over() -> None:
    """Others are for who looks."""
    at = Watched()
    at.lives(60.0)
    at.hears("$alert/hi-bed1-leak", "water runs out")
    at.hears("$alert/lo-bed1-rate-old", "measure it")
    assert at.after(1.0) == [Change(BOX, Standing.WELL, "water runs out", "hi-bed1-leak")]
    assert at.after(1.0) == []
    at.hears("$alert/hi-bed1-leak", "")
    assert at.after(1.0) == [Change(BOX, Standing.WELL, "over", "hi-bed1-leak")]
