"""What the box says over MQTT, for people."""

from __future__ import annotations

import re

from daemon.link import homie
from daemon.link.describe import PAGE, example, page, topics
from daemon.link.gate import Ignored
from daemon.values import Quantity, Role
from tests.link.homie_rules import faults


def test_the_page_is_what_the_code_says() -> None:
    """docs/mqtt.md is renewed with it: python -m daemon.link.describe."""
    assert PAGE.read_text(encoding="utf-8") == page()


def test_every_quantity_pump_and_reason_is_in_it() -> None:
    """A new one gets its line by itself."""
    text = page()
    for quantity in Quantity:
        assert f"`NAME-probe/{quantity.value.replace('_', '-')}`" in text
    for role in Role:
        assert f"`NAME-dosing/{role.value.replace('_', '-')}-last-day`" in text
    for reason in Ignored:
        assert f"- `{reason.value}`: " in text


def test_each_line_of_the_table_is_a_property_of_a_legal_description() -> None:
    """And all are there."""
    seen = example()
    declared = homie.description("x", seen, homie.values(seen).keys() | {homie.NONCE}, version=1)
    assert faults({**declared, "nodes": {node.lower(): it for node, it in declared["nodes"].items()}}) == []
    paths = {f"{node}/{name}" for node, it in declared["nodes"].items() for name in it["properties"]}
    lines = list(topics())[2:]
    assert {match[1] for line in lines if (match := re.match(r"\| `([^`]+)` \|", line))} == paths
    assert all(line.count("|") == 8 for line in lines)


def test_no_line_of_the_text_is_wider_than_the_other_pages() -> None:
    """Tables and shown lines aside."""
    wide = [line for line in page().splitlines() if len(line) > 120 and not line.startswith(("|", "    "))]
    assert wide == []
