"""``kill -9`` of bridge, broker and service in turn, while an inverter is read: counts are equal.

The promise is the project's own: what was read is stored once. The witness is the plant, which
gives another number each time it is asked.
"""

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.helpers.chains import Chain
from tests.helpers.mqtt_broker import Mosquitto, running_mosquitto
from tests.helpers.numbered_plants import numbered_plant

#: Once it was done with thirty: docs/decisions/0012-spool.md.
ROUNDS = 12


def run(folder: Path, rounds: int, broker: Mosquitto | None) -> None:
    chance = random.Random(30)
    with numbered_plant(folder) as plant:
        chain = Chain(folder, plant, broker)
        try:
            kills: list[Callable[[], None]] = [chain.kill_bridge, chain.kill_service]
            if broker is not None:
                kills.insert(1, chain.kill_broker)
            for round_ in range(rounds):
                plant.wait_for_more(chance.randrange(2, 7))
                kills[round_ % len(kills)]()
            plant.wait_for_more(3)
            stored = chain.end()
        finally:
            chain.close()
        assert len(set(stored)) == len(stored)
        missing = set(range(1, plant.served + 1)) - set(stored)
        assert missing <= chain.in_the_air
        # Of one answer on its way at each kill, and of no other.
        assert len(missing) <= chain.bridge_kills
        assert set(stored) <= set(range(1, plant.served + 1))


@pytest.mark.outside
def test_twelve_kills_of_bridge_broker_and_service_in_turn(tmp_path: Path) -> None:
    (tmp_path / "broker").mkdir()
    with running_mosquitto(tmp_path / "broker") as broker:
        run(tmp_path, ROUNDS, broker)


def test_kills_of_bridge_and_service_without_a_broker(tmp_path: Path) -> None:
    run(tmp_path, 6, None)
