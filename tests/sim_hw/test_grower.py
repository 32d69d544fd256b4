"""The grower at the bench: dips, waits, asks, and puts the probe back."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

import pytest

from sim_hw import grower
from sim_hw.grower import PATIENCE_LOOKS, STANDARDS, GrowerStoppedError
from tests.sim_hw.a_bench import a_bench


class ADaemon:
    """Answers as one would whose probe settles after so many looks; writes down what was asked and played."""

    def __init__(self, settles_after: int = 3, accepted: bool = True) -> None:
        self.did: list[str] = []
        self.waits = 0
        self._settles_after, self._accepted, self._looks = settles_after, accepted, 0

    def ask(self, method: str, **params: Any) -> Mapping[str, Any]:
        assert params["reservoir"] == "bed1"
        if method == "calibrate.look":
            self._looks = 0 if params.get("afresh") else self._looks + 1
            return {"settled": self._looks >= self._settles_after}
        self.did.append(f"{method} {params['quantity']} {params.get('standard', '')}".strip())
        return {"accepted": self._accepted, "said": "slope 97 %"}

    def play(self, command: str, **params: Any) -> None:
        assert params["tank"] == "bed1"
        self.did.append(f"{command} {params['probe']} {params.get('standard', '')}".strip())

    def wait(self) -> None:
        self.waits += 1

    def calibrated(self, quantity: str) -> str:
        return grower.calibrate(quantity, "bed1", ask=self.ask, play=self.play, wait=self.wait)


def test_ph_is_calibrated_in_two_buffers_and_put_back() -> None:
    """Each step in its turn, and only the probe in the water again ends it."""
    daemon = ADaemon()
    assert daemon.calibrated("ph") == "slope 97 %"
    assert daemon.did == [
        "calibrate.begin ph",
        "dip ph 7.00",
        "calibrate.point ph 7.00",
        "dip ph 4.01",
        "calibrate.point ph 4.01",
        "calibrate.finish ph",
        "back ph",
        "calibrate.back ph",
    ]
    assert daemon.waits == 6


def test_ec_needs_one_standard() -> None:
    """1.413 mS/cm."""
    daemon = ADaemon()
    daemon.calibrated("ec")
    assert daemon.did[1:3] == ["dip ec 1.413", "calibrate.point ec 1.413"]


def test_a_reading_that_never_settles_stops_the_grower() -> None:
    """After some patience; no point is taken."""
    daemon = ADaemon(settles_after=PATIENCE_LOOKS + 1)
    with pytest.raises(GrowerStoppedError, match="the ph reading did not settle"):
        daemon.calibrated("ph")
    assert daemon.waits == PATIENCE_LOOKS
    assert not any("point" in step for step in daemon.did)


def test_the_last_look_of_all_patience_is_in_time() -> None:
    """Settled at the very last look is settled."""
    assert ADaemon(settles_after=PATIENCE_LOOKS).calibrated("ec")


def test_a_refused_fit_stops_the_grower_with_the_daemons_words() -> None:
    """Nobody says that the probe is back in the water."""
    daemon = ADaemon(accepted=False)
    with pytest.raises(GrowerStoppedError, match="calibrating ph: slope 97 %"):
        daemon.calibrated("ph")
    assert daemon.did[-1] == "calibrate.finish ph"


@contextmanager
def _bench() -> Iterator[Any]:
    bench = a_bench()
    try:
        yield bench
    finally:
        bench.close()


@pytest.mark.parametrize("quantity", ["ph", "ec"])
def test_every_standard_is_one_that_the_bench_has(quantity: str) -> None:
    """What the grower dips into is really there, and the probe is back in its tank at the end."""
    dipped: list[str] = []
    with _bench() as bench:

        def play(command: str, **params: Any) -> None:
            bench.play(command, **params)
            dipped.append(bench.play("look")["tanks"]["bed1"]["probes"][quantity]["in"])

        daemon = ADaemon()
        grower.calibrate(quantity, "bed1", ask=daemon.ask, play=play, wait=lambda: bench.clock.sleep(10.0))
    assert dipped == [*STANDARDS[quantity], "tank"]
