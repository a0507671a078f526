"""Measure MQTT into committed storage: ``python -m tests.measure_ingest``.

Publishers with paho-mqtt, each a process of its own, send messages of 20 readings with QoS 1 to a
service started as a person would; the clock runs from the first message of any to the last
acknowledgement of all, which comes after the commit (WAL, synchronous FULL). The cores are
shared by both sides, and the publisher is most often the slower one.
"""

import argparse
import json
import os
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion

from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.tokens import add_token
from tests.helpers.service import clean_environment, running_service

READINGS = 20
START_S = 1_780_000_000


def publish(
    number: int, port: int, secret: str, messages: int, protocol: int
) -> tuple[float, float]:
    """Publish from one client; return when it began and when all was acknowledged. [s, epoch]"""
    done = threading.Event()
    acknowledged = 0

    def on_publish(*_: object) -> None:
        nonlocal acknowledged
        acknowledged += 1
        if acknowledged == messages:
            done.set()

    version = mqtt.MQTTv5 if protocol == 5 else mqtt.MQTTv311
    client = mqtt.Client(
        CallbackAPIVersion.VERSION2, client_id=f"measure-{number}", protocol=version
    )
    client.username_pw_set("shed", secret)
    client.max_inflight_messages_set(1000)
    client.on_publish = on_publish
    connected = threading.Event()
    client.on_connect = lambda *_: connected.set()
    client.connect("127.0.0.1", port)
    client.loop_start()
    connected.wait(30)
    names = [f"q{place}" for place in range(READINGS)]
    began_s = time.time()
    for step in range(messages):
        values = ",".join(f'{{"n":"{name}","u":"W","v":{step % 977}.5}}' for name in names)
        pack = f'[{{"bt":{START_S + step},' + values[1:] + "]"
        client.publish(f"joulebook/v1/studio/meter-{number}", pack, qos=1)
    done.wait(300)
    ended_s = time.time()
    client.disconnect()
    client.loop_stop()
    return began_s, ended_s


def measure(publishers: int, messages: int, protocol: int) -> dict[str, float]:
    """Run all publishers at once against one service and return the rates."""
    with tempfile.TemporaryDirectory() as folder:
        data_dir = Path(folder)
        database = Database.open(data_dir)
        secret = add_token(database, add_site(database, "studio", "America/Chicago"), "shed")
        database.close()
        with running_service(data_dir) as service:
            options = {"port": service.mqtt_port, "messages": messages, "protocol": protocol}
            shared = [f"--{name}={value}" for name, value in options.items()]
            processes = [
                subprocess.Popen(
                    [
                        sys.executable,
                        "-m",
                        "tests.measure_ingest",
                        f"--publisher={number}",
                        *shared,
                    ],
                    env={**clean_environment(), "MEASURE_SECRET": secret},
                    stdout=subprocess.PIPE,
                    text=True,
                )
                for number in range(publishers)
            ]
            times = [json.loads(process.communicate()[0]) for process in processes]
        took_s = max(ended for _, ended in times) - min(began for began, _ in times)
        total = publishers * messages
        return {
            "publishers": publishers,
            "messages": total,
            "took_s": round(took_s, 2),
            "messages_per_s": round(total / took_s),
            "readings_per_s": round(total * READINGS / took_s),
            "load_average": round(os.getloadavg()[0], 2),
        }


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--publishers", type=int, default=2)
    parser.add_argument("--messages", type=int, default=20_000, help="of each publisher")
    parser.add_argument("--protocol", type=int, choices=(4, 5), default=4)
    parser.add_argument("--publisher", type=int, help=argparse.SUPPRESS)
    parser.add_argument("--port", type=int, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.publisher is None:
        print(json.dumps(measure(given.publishers, given.messages, given.protocol)))  # noqa: T201
    else:
        secret = os.environ["MEASURE_SECRET"]
        times = publish(given.publisher, given.port, secret, given.messages, given.protocol)
        print(json.dumps(times))  # noqa: T201


if __name__ == "__main__":
    main()
