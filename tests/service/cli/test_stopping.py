import logging
from dataclasses import replace

import pytest

from joulebook.cli.stopping import Stopping, left_sentence
from tests.helpers.mqtt_inbox import wait_until
from tests.service.cli.test_health import INBOX


class Ending:
    """What was asked of a service, and how its process was left."""

    def __init__(self, *, deadline_s: float = 60.0) -> None:
        self.stops = 0
        self.left_with: list[int] = []
        self.stopping = Stopping(
            self._stop,
            left=lambda: "3 messages not stored",
            deadline_s=deadline_s,
            leave=self.left_with.append,
        )

    def _stop(self) -> None:
        self.stops += 1


def test_asked_once_it_stops_in_order() -> None:
    ending = Ending()
    ending.stopping.ask()
    ending.stopping.done()
    assert (ending.stops, ending.left_with) == (1, [])


def test_asked_twice_it_leaves_at_once_and_says_what_it_left(
    caplog: pytest.LogCaptureFixture,
) -> None:
    ending = Ending()
    ending.stopping.ask()
    with caplog.at_level(logging.ERROR):
        ending.stopping.ask()
    ending.stopping.done()
    assert (ending.stops, ending.left_with) == (1, [3])
    assert "told to stop a second time, leaving at once: 3 messages not stored" in caplog.text


def test_after_the_deadline_it_leaves(caplog: pytest.LogCaptureFixture) -> None:
    ending = Ending(deadline_s=0.02)
    ending.stopping.ask()
    wait_until(lambda: ending.left_with == [3])
    assert "not done after 0.02 s, leaving at once: 3 messages not stored" in caplog.text


def test_what_is_left_is_said_with_its_count_and_why() -> None:
    assert left_sentence(replace(INBOX, queued=0)) == (
        "every message that came in is stored and acknowledged"
    )
    assert left_sentence(replace(INBOX, queued=1)).startswith("1 message not stored and not ackn")
    full = replace(INBOX, queued=12, failing="the disk is full")
    assert left_sentence(full) == (
        "12 messages not stored (the disk is full) and not acknowledged: "
        "bridges and brokers keep such messages and send them again"
    )
