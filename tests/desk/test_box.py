"""What is told of the box and its settings: the whole program."""

from __future__ import annotations

import json
import platform
from datetime import timedelta

import pytest
from pydantic import TypeAdapter

from config.settings import Settings
from daemon.desk.box import Box
from daemon.desk.requests import Origin, RequestRefused
from tests.at_the_tank import AtTheTank


def test_the_settings_are_those_it_was_started_with(tank: AtTheTank) -> None:
    """They come through JSON whole; of the rig's own keys, which the model does not know, a moment is text."""
    told, own = Settings.model_validate_json(json.dumps(tank.ask("settings"))), tank.service.settings
    assert told.model_copy(update={"rig": own.rig}) == own
    assert told.rig.open == own.rig.open


def test_the_box_shows_where_its_state_is_kept(tank: AtTheTank) -> None:
    """The folder in use, not the one of the settings; on a bench there is no barrier to be seen."""
    seen = TypeAdapter(Box).validate_python(tank.ask("box"))
    assert seen.facts.state.path == tank.service.folder
    assert seen.facts.state.there
    assert seen.facts.state.free_mb > 0.0
    assert (seen.barriers, seen.python) == ((), platform.python_version())
    assert abs(seen.utc - tank.clock.utc()) < timedelta(seconds=1)


@pytest.mark.parametrize("method", ["settings", "box"])
def test_neither_is_told_over_mqtt(tank: AtTheTank, method: str) -> None:
    """They say how the house is wired."""
    with pytest.raises(RequestRefused, match="only for a person at the tank"):
        tank.ask(method, Origin.SIGNED)
