"""A broker in the house that is ended and killed, and a stranger that takes our session over."""

import random
from collections.abc import Callable
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from tests.faults.told import Told, counted
from tests.helpers.chains import Chain
from tests.helpers.mqtt_broker import Mosquitto, running_mosquitto
from tests.helpers.mqtt_inbox import wait_until
from tests.helpers.numbered_plants import NumberedPlant, numbered_plant

Strike = Callable[[Chain, Mosquitto], None]


def _restart(_: Chain, broker: Mosquitto) -> None:
    broker.stop()
    broker.start()


def _kill(_: Chain, broker: Mosquitto) -> None:
    broker.kill()
    broker.start()


def _take_over(_: Chain, broker: Mosquitto) -> None:
    """Come as the service would, take what the broker hands out, and never answer for it."""
    thief = mqtt.Client(
        CallbackAPIVersion.VERSION2, client_id="joulebook", clean_session=False, manual_ack=True
    )
    here: list[object] = []
    thief.on_connect = lambda *_: here.append("connected")
    thief.connect("127.0.0.1", broker.port)
    thief.loop_start()
    wait_until(lambda: bool(here), 60)
    thief.disconnect()
    thief.loop_stop()


STRIKES: dict[str, Strike] = {
    "broker restarted": _restart,
    "broker killed": _kill,
    "our session at the broker taken over": _take_over,
}


def strikes(folder: Path, rounds: int, seed: int = 1) -> list[Told]:
    """Do each of them so often, while a bridge reads its plant."""
    chance = random.Random(seed)
    (folder / "broker").mkdir()
    with running_mosquitto(folder / "broker") as broker, numbered_plant(folder) as plant:
        chain = Chain(folder, plant, broker)
        try:
            served: dict[str, set[int]] = {name: set() for name in STRIKES}
            for _ in range(rounds):
                for name, strike in STRIKES.items():
                    served[name] |= _struck(chain, broker, plant, strike, chance)
            last = plant.served
            plant.wait_for_more(3)
            stored = [number for number in chain.end() if number <= last]
        finally:
            chain.close()
    return [
        counted(name, numbers, [one for one in stored if one in numbers], rounds=rounds)
        for name, numbers in served.items()
    ]


def _struck(
    chain: Chain, broker: Mosquitto, plant: NumberedPlant, strike: Strike, chance: random.Random
) -> set[int]:
    before = plant.served
    plant.wait_for_more(chance.randrange(2, 7))
    strike(chain, broker)
    return set(range(before + 1, plant.served + 1))
