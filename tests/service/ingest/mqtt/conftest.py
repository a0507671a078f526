"""What most tests of MQTT need: an inbox that remembers, and a real broker."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.helpers.mqtt_broker import Mosquitto, running_mosquitto
from tests.helpers.mqtt_inbox import RecordingInbox


@pytest.fixture
def inbox() -> Iterator[RecordingInbox]:
    inbox = RecordingInbox()
    yield inbox
    inbox.stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Mosquitto]:
    with running_mosquitto(tmp_path) as broker:
        yield broker
