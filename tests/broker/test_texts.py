"""What mosquitto is told."""

from __future__ import annotations

import re

from config.settings import Mqtt, Settings
from daemon.broker import texts
from daemon.link import homie
from daemon.link.wire import LARGEST_PACKET
from tests.link.states import reservoir, state


def test_nobody_without_a_name_and_no_packet_that_the_box_would_not_take() -> None:
    """The lines that keep the broker closed and small."""
    lines = texts.configuration("quince-lane").splitlines()
    for line in ("allow_anonymous false", "max_packet_size 65536", "autosave_interval 60", "persistence true"):
        assert line in lines
    assert texts.LARGEST_PACKET == LARGEST_PACKET


def test_debians_own_lines_are_not_said_twice() -> None:
    """Mosquitto refuses to start where one of these stands in two files (seen with 2.0.11)."""
    said = {line.partition(" ")[0] for line in texts.configuration("quince-lane").splitlines()}
    assert not said & {"persistence_location", "pid_file", "log_dest", "include_dir"}


def test_the_panel_may_write_just_what_the_box_listens_to() -> None:
    """By the topics that the box subscribes to, not by a second list."""
    rules = re.findall(r"^topic write (\S+)$", texts.acl("quince-lane", Mqtt()), re.MULTILINE)
    patterns = [re.compile(rule.replace("+", "[^/]+")) for rule in rules]
    for path in homie.set_paths(state(1, reservoir("bed1"), reservoir("bed-2"))):
        assert any(pattern.fullmatch(f"homie/5/quince-lane/{path}") for pattern in patterns)
    assert len(rules) == 2


def test_the_domain_of_the_settings_is_in_every_line(garden: Settings) -> None:
    """A box may live below another first level."""
    topics = re.findall(
        r"^topic \S+ (\S+)$", texts.acl("x", garden.mqtt.model_copy(update={"domain": "beds"})), re.M
    )
    assert len(topics) == 5
    assert all(topic.startswith("beds/5/") for topic in topics)


def test_moved_for_the_proof_it_listens_here_only_and_is_else_the_same() -> None:
    """Same lines, but for where files and port are."""
    before, after = texts.configuration("x"), texts.moved(texts.configuration("x"), "/there", 1234)
    assert "listener 1234 127.0.0.1" in after.splitlines()
    assert texts.HOME not in after
    assert len(before.splitlines()) == len(after.splitlines())
    changed = [line for line in after.splitlines() if line not in before.splitlines()]
    assert all(
        line.startswith(("listener", "cafile", "certfile", "keyfile", "password_file", "acl_file"))
        for line in changed
    )
