"""Homes that report for hours, each by a bridge of its own, and what was acknowledged.

A home reports twenty quantities of five devices every ten seconds, as the simulated studio's bridge
does by default. The homes are out of step with each other, and so are the devices of a home.
"""

import json
import math
import threading
import time
from collections import deque

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from joulebook.storage.connections import Connection
from joulebook.storage.records import Column, Site
from tests.helpers.databases import write
from tests.helpers.mqtt_inbox import wait_until

EVERY_S = 10.0
DEVICES: dict[str, tuple[tuple[str, str], ...]] = {
    "battery": (
        ("voltage", "V"),
        ("current", "A"),
        ("power", "W"),
        ("soc", "/"),
        ("temperature", "Cel"),
        ("charge_energy", "Wh"),
        ("discharge_energy", "Wh"),
    ),
    "inverter": (("dc_voltage", "V"), ("dc_current", "A"), ("temperature", "Cel")),
    "pv": (("power", "W"), ("energy", "Wh"), ("voltage", "V")),
    "grid": (("power", "W"), ("import_energy", "Wh"), ("export_energy", "Wh"), ("frequency", "Hz")),
    "load": (("power", "W"), ("power_l1", "W"), ("power_l2", "W")),
}


def values(device: str, at_ms: int) -> list[float]:
    """Return what a device reports at an instant, each quantity: it swings as a day's does."""
    swing = math.sin(at_ms / 6e5)
    return [round(_value(unit, swing, at_ms), 2) for _, unit in DEVICES[device]]


def pack(device: str, at_ms: int) -> bytes:
    """Return what a device reports at an instant as a message."""
    records: list[dict[str, object]] = [
        {"n": name, "u": unit, "v": value}
        for (name, unit), value in zip(DEVICES[device], values(device, at_ms), strict=True)
    ]
    records[0]["bt"] = at_ms / 1000
    return json.dumps(records).encode()


def tell_history(connection: Connection, site: Site, *, hours: float, until_ms: int) -> int:
    """Store what a home would have reported in the hours before; return how many readings."""
    instants = range(until_ms - round(3_600_000 * hours), until_ms, round(1000 * EVERY_S))
    count = 0
    for device, quantities in DEVICES.items():
        columns = [Column(*each) for each in quantities]
        names = [name for name, _ in quantities]
        rows = {at: dict(zip(names, values(device, at), strict=True)) for at in instants}
        count += write(connection, site, device, rows, columns).new
    return count


def _value(unit: str, swing: float, at_ms: int) -> float:
    if unit == "Wh":
        return at_ms // 10_000 % 10_000_000
    return {"V": 53 + swing, "A": 20 * swing, "W": 600 + 500 * swing, "/": 0.5 + 0.4 * swing}.get(
        unit, 50 + swing / 10
    )


class SteadyHome:
    """A bridge that publishes and remembers how long each acknowledgement took.

    Attributes
    ----------
    sent, acknowledged : int
        Messages.
    """

    def __init__(self, name: str, port: int, secret: str) -> None:
        self.name = name
        self.sent = 0
        self._sent_at: dict[int, float] = {}
        self._answers: deque[tuple[int, float]] = deque()
        self.acknowledged = 0
        self._client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id=name)
        self._client.username_pw_set(name, secret)
        self._client.max_inflight_messages_set(500)
        # Called by paho while it holds its locks: matched with what was sent later, in `lags_s`.
        self._client.on_publish = lambda _client, _data, mid, *_: self._answers.append(
            (mid, time.perf_counter())
        )
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()

    def publish(self, device: str, at_ms: int) -> None:
        began_s = time.perf_counter()
        topic = f"joulebook/v1/{self.name}/{device}"
        told = self._client.publish(topic, pack(device, at_ms), qos=1)
        self._sent_at[told.mid] = began_s
        self.sent += 1

    def lags_s(self) -> list[float]:
        """Return how long each answer took that came since this was last asked."""
        lags = []
        for _ in range(len(self._answers)):
            mid, at_s = self._answers.popleft()
            lags.append(at_s - self._sent_at.pop(mid))
        self.acknowledged += len(lags)
        return lags

    def waiting_s(self) -> float:
        """Return for how long the oldest message has been without an answer."""
        return time.perf_counter() - min(self._sent_at.values(), default=time.perf_counter())

    def stop(self) -> None:
        self._client.disconnect()
        self._client.loop_stop()


class Street:
    """Several homes that report until they are told to stop, from a thread of their own."""

    def __init__(self, homes: list[SteadyHome]) -> None:
        self.homes = homes
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run)

    def start(self) -> None:
        self._thread.start()

    def stop(self) -> None:
        """Send no more, and wait until all is acknowledged."""
        self._stop.set()
        self._thread.join()
        wait_until(self._all_answered, 120)
        for home in self.homes:
            home.stop()

    def lags_s(self) -> list[float]:
        return [lag_s for home in self.homes for lag_s in home.lags_s()]

    @property
    def sent(self) -> int:
        return sum(home.sent for home in self.homes)

    @property
    def acknowledged(self) -> int:
        return sum(home.acknowledged for home in self.homes)

    def _all_answered(self) -> bool:
        self.lags_s()
        return self.acknowledged == self.sent

    def _run(self) -> None:
        turns = [(home, device) for device in DEVICES for home in self.homes]
        step_s = EVERY_S / len(turns)
        began_s, began_ms = time.monotonic(), time.time_ns() // 1_000_000
        turn = 0
        while not self._stop.wait(max(began_s + turn * step_s - time.monotonic(), 0)):
            home, device = turns[turn % len(turns)]
            home.publish(device, began_ms + round(turn * step_s * 1000))
            turn += 1
