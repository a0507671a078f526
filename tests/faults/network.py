"""A network that is cut in the middle of a packet, and two bridges that say they are the same."""

import random
from pathlib import Path

from tests.faults.house import house_in
from tests.faults.told import Told, counted
from tests.helpers.fault_proxy import fault_proxy
from tests.helpers.mqtt_inbox import wait_until


def cut_in_packets(folder: Path, rounds: int, seed: int = 1) -> Told:
    """Hang up after a part of what a bridge has just sent: most often in the middle of a packet."""
    chance = random.Random(seed)
    with house_in(folder) as house, fault_proxy(house.mqtt_port) as proxy:
        publisher = house.publisher(port=proxy.port)
        struck = 0
        for _ in range(rounds):
            before = proxy.connections
            proxy.cut_at = chance.random()
            publisher.publish(40)
            wait_until(lambda: proxy.cut_at is None, 60)
            struck += publisher.acknowledged < publisher.published
            wait_until(lambda seen=before: proxy.connections > seen, 60)  # type: ignore[misc]
        publisher.wait_for_all()
        publisher.stop()
        assert house.end() == 0
        return counted(
            "network cut in the middle of a packet",
            range(publisher.published),
            house.numbers(),
            rounds=rounds,
            struck=struck,
            acknowledged=publisher.acknowledged,
            note=f"{proxy.connections} connections; set aside: {len(house.set_aside())}",
        )


def taken_over(folder: Path, messages: int) -> Told:
    """Let two bridges with one client identifier and one token throw each other out."""
    with house_in(folder) as house:
        first, second = house.publisher(), house.publisher(device="pv")
        first.publish(messages)
        second.publish(messages)
        first.wait_for_all()
        first.stop()
        second.wait_for_all()
        assert house.end() == 0
        stored = house.numbers() + [messages + number for number in house.numbers("pv")]
        return counted(
            "session taken over by a bridge with the same name",
            range(2 * messages),
            stored,
            acknowledged=first.acknowledged + second.acknowledged,
        )
