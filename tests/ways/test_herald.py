"""Every way gets every message; one that hangs is ended, one that got out nowhere is tried again."""

from __future__ import annotations

import logging
import sys
import time

import pytest

from daemon.ways import herald
from daemon.ways.addresses import Way
from daemon.ways.herald import MOST_WAITING, Answer, Herald, send
from daemon.ways.plan import Message
from tests.brokers import until
from tests.services import Service

HELLO = Message("Garden: a", "high: the hose came off")
ONE, TWO = Way("way 1 (json)", "json://hunter2@a"), Way("way 2 (json)", "json://b")


class Sender:
    """Notes what it is to send; the ways named in `broken` take nothing."""

    def __init__(self, *broken: str) -> None:
        self.sent: list[tuple[str, str]] = []
        self.broken = set(broken)

    def __call__(self, way: Way, message: Message) -> Answer:
        self.sent.append((way.name, message.title))
        return Answer(way.name, way.name not in self.broken, "asleep" if way.name in self.broken else "")


def started(sender: Sender) -> Herald:
    """A herald of two ways."""
    made = Herald((ONE, TWO), sender)
    made.start()
    return made


def test_a_process_of_its_own_delivers(service: Service) -> None:
    """Whole, with a real service."""
    answer = send(Way("way 1 (json)", service.url("good", "grower:hunter2@")), HELLO)
    assert answer == Answer("way 1 (json)", True, "")
    assert service.got[0][1]["message"] == HELLO.text


def test_a_service_that_hangs_is_given_up(service: Service) -> None:
    """Its process is ended; the limit is told."""
    began_s = time.monotonic()
    answer = send(Way("way 1 (json)", service.url("hang")), HELLO, within_s=0.5)
    assert answer == Answer("way 1 (json)", False, "took longer than 0.5 s")
    assert time.monotonic() - began_s < 5.0


def test_a_process_that_cannot_send_is_told_without_the_address(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever it died of."""
    monkeypatch.setattr(sys, "executable", "/bin/false")
    answer = send(ONE, HELLO)
    assert not answer.delivered
    assert "the sending process failed" in answer.said


def test_each_way_gets_each_message() -> None:
    """In the order of the file."""
    sender = Sender()
    here = started(sender)
    here.tell(HELLO)
    until(lambda: len(sender.sent) == 2)
    here.close()
    here.close()
    assert sender.sent == [("way 1 (json)", "Garden: a"), ("way 2 (json)", "Garden: a")]
    assert [way.delivered for way in here.status().ways] == [1, 1]
    assert here.status().bad == ()


def test_one_way_is_enough_and_the_other_is_told_after_three_failures(caplog: pytest.LogCaptureFixture) -> None:
    """Not tried again for that; logged once for the same reason."""
    sender = Sender("way 1 (json)")
    here = started(sender)
    with caplog.at_level(logging.WARNING):
        for _ in range(3):
            here.tell(HELLO)
        until(lambda: here.status().ways[1].delivered == 3)
    here.close()
    status = here.status()
    assert not status.none_works
    assert [(way.way, way.failed, way.said) for way in status.bad] == [("way 1 (json)", 3, "asleep")]
    assert len(sender.sent) == 6
    assert [record.message for record in caplog.records] == ["An alert did not get out by way 1 (json): asleep"]


def test_what_got_out_nowhere_is_tried_again_until_it_does(monkeypatch: pytest.MonkeyPatch) -> None:
    """First of all that wait; meanwhile it is known that no way works."""
    monkeypatch.setattr(herald, "RETRY_FIRST_S", 0.02)
    sender = Sender("way 1 (json)", "way 2 (json)")
    here = started(sender)
    here.tell(HELLO)
    until(lambda: here.status().none_works)
    assert len(here.status().bad) == 2
    here.tell(Message("Garden: b", ""))
    sender.broken.clear()
    until(lambda: ("way 2 (json)", "Garden: b") in sender.sent)
    until(lambda: here.status().waiting == 0)
    here.close()
    assert sender.sent.count(("way 1 (json)", "Garden: a")) >= 2
    assert sender.sent[-1] == ("way 2 (json)", "Garden: b")
    assert not here.status().none_works


def test_of_too_many_the_oldest_is_given_up() -> None:
    """Nothing grows without bound while no way works."""
    here = Herald((ONE,), Sender())
    for number in range(2 * MOST_WAITING):
        here.tell(Message(f"Garden: {number}", ""))
    assert here.status().waiting == MOST_WAITING
    here.close()
