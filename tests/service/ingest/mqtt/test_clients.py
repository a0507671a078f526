"""Clients that are not ours publish to the listener: paho, mosquitto's command line, npm's mqtt."""

import os
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from paho.mqtt import properties as paho_properties
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes

from joulebook.ingest.message import Message, Verdict
from tests.helpers.mqtt_inbox import WAIT_S, RecordingInbox, wait_until
from tests.helpers.mqtt_server import RunningListener, running_listener
from tests.helpers.outside import needs_program

TOPIC = "joulebook/v1/home/battery"
VERSIONS = [MQTTProtocolVersion.MQTTv311, MQTTProtocolVersion.MQTTv5]
Properties: Any = paho_properties.Properties  # untyped


def judge(message: Message) -> Verdict:
    return {
        "joulebook/v1/away/battery": Verdict.NOT_AUTHORISED,
        "elsewhere": Verdict.TOPIC_INVALID,
    }.get(message.topic, Verdict.STORED)


@pytest.fixture
def inbox() -> Iterator[RecordingInbox]:
    inbox = RecordingInbox(judge)
    yield inbox
    inbox.stop()


@pytest.fixture
def server(inbox: RecordingInbox) -> Iterator[RunningListener]:
    with running_listener(inbox) as server:
        yield server


class Paho:
    """A paho client that is connected, and what it was told."""

    def __init__(self, port: int, version: MQTTProtocolVersion, *, secret: str = "secret") -> None:
        self.connected: list[str] = []
        self.disconnected: list[str] = []
        self.published: list[str] = []
        self.subscribed: list[list[str]] = []
        self.client = Client(
            CallbackAPIVersion.VERSION2,
            client_id="paho",
            protocol=version,
            reconnect_on_failure=False,
        )
        self.client.username_pw_set("bridge1", secret)
        self.client.on_connect = lambda _c, _u, _f, reason, _p: self.connected.append(str(reason))
        self.client.on_disconnect = lambda _c, _u, _f, reason, _p: self.disconnected.append(
            str(reason)
        )
        self.client.on_publish = lambda _c, _u, _m, reason, _p: self.published.append(str(reason))
        self.client.on_subscribe = lambda _c, _u, _m, reasons, _p: self.subscribed.append(
            [str(one) for one in reasons]
        )
        self.client.connect("127.0.0.1", port)
        self.client.loop_start()
        wait_until(lambda: bool(self.connected))

    def leave(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()


@pytest.mark.parametrize("qos", [0, 1, 2])
@pytest.mark.parametrize("version", VERSIONS)
def test_paho_publishes(
    server: RunningListener, inbox: RecordingInbox, version: MQTTProtocolVersion, qos: int
) -> None:
    paho = Paho(server.port, version)
    for n in range(300):
        paho.client.publish(TOPIC, f"[{n}]", qos=qos)
    wait_until(lambda: len(inbox.messages) == 300)
    wait_until(lambda: len(paho.published) == 300)
    paho.leave()
    assert paho.connected == ["Success"]
    assert set(paho.published) == {"Success"}
    assert inbox.payloads() == [b"[%d]" % n for n in range(300)]


@pytest.mark.parametrize("qos", [1, 2])
def test_paho_is_told_why_a_message_was_not_stored(server: RunningListener, qos: int) -> None:
    paho = Paho(server.port, MQTTProtocolVersion.MQTTv5)
    for topic in ("joulebook/v1/away/battery", "elsewhere", TOPIC):
        paho.client.publish(topic, b"[]", qos=qos).wait_for_publish(WAIT_S)
    wait_until(lambda: len(paho.published) == 3)
    paho.leave()
    if qos == 1:  # paho 2.2 hands the reason of a PUBREC to nobody
        assert paho.published == ["Not authorized", "Topic name invalid", "Success"]


@pytest.mark.parametrize("version", VERSIONS)
def test_paho_with_a_will_and_properties(
    server: RunningListener, inbox: RecordingInbox, version: MQTTProtocolVersion
) -> None:
    client = Client(CallbackAPIVersion.VERSION2, client_id="paho", protocol=version)
    client.username_pw_set("bridge1", "secret")
    properties = None
    if version is MQTTProtocolVersion.MQTTv5:
        properties = Properties(PacketTypes.PUBLISH)
        properties.ContentType = "application/senml+json"
        properties.UserProperty = ("a", "b")
        properties.MessageExpiryInterval = 60
    client.will_set(TOPIC, b"gone", qos=1, retain=True)
    client.connect("127.0.0.1", server.port)
    client.loop_start()
    client.publish(TOPIC, b"[1]", qos=1, retain=True, properties=properties).wait_for_publish(
        WAIT_S
    )
    client.disconnect()
    client.loop_stop()
    assert inbox.payloads() == [b"[1]"]


@pytest.mark.parametrize("version", VERSIONS)
def test_paho_cannot_subscribe(server: RunningListener, version: MQTTProtocolVersion) -> None:
    paho = Paho(server.port, version)
    paho.client.subscribe([("#", 1), ("joulebook/+/x", 0)])
    wait_until(lambda: bool(paho.subscribed))
    paho.client.unsubscribe("#")
    paho.client.publish(TOPIC, b"[]", qos=1).wait_for_publish(WAIT_S)
    paho.leave()
    refusal = "Not authorized" if version is MQTTProtocolVersion.MQTTv5 else "Unspecified error"
    assert paho.subscribed == [[refusal, refusal]]


@pytest.mark.parametrize("version", VERSIONS)
def test_paho_with_a_wrong_token(server: RunningListener, version: MQTTProtocolVersion) -> None:
    paho = Paho(server.port, version, secret="wrong")
    paho.leave()
    assert paho.connected == ["Bad user name or password"]


def test_paho_hears_why_it_has_to_go(server: RunningListener) -> None:
    paho = Paho(server.port, MQTTProtocolVersion.MQTTv5)
    with server.client() as newer:
        newer.send(b"\xc0\x00")
        assert newer.packet() == b"\xd0\x00"
        assert paho.disconnected == []  # another client
    server.stop()
    wait_until(lambda: bool(paho.disconnected))
    paho.leave()
    assert paho.disconnected == ["Server shutting down"]


@pytest.mark.outside
@pytest.mark.parametrize("qos", ["0", "1", "2"])
@pytest.mark.parametrize("version", ["mqttv311", "mqttv5"])
def test_mosquitto_pub(
    server: RunningListener, inbox: RecordingInbox, version: str, qos: str
) -> None:
    lines = "".join(f"[{n}]\n" for n in range(200))
    done = mosquitto_pub(server.port, version, "-q", qos, "-t", TOPIC, "-l", lines=lines)
    assert (done.returncode, done.stderr) == (0, "")
    wait_until(lambda: len(inbox.messages) == 200)
    assert inbox.payloads() == [b"[%d]" % n for n in range(200)]


@pytest.mark.outside
@pytest.mark.parametrize("version", ["mqttv311", "mqttv5"])
def test_mosquitto_pub_is_told_what_was_wrong(server: RunningListener, version: str) -> None:
    wrong = mosquitto_pub(server.port, version, "-t", TOPIC, "-m", "[]", secret="wrong")
    assert wrong.returncode != 0
    assert "not authori" in wrong.stderr.lower() or "bad user name" in wrong.stderr.lower()
    away = mosquitto_pub(
        server.port, version, "-q", "1", "-t", "joulebook/v1/away/battery", "-m", "[]"
    )
    assert ("Not authorized" in away.stderr) is (version == "mqttv5")


def mosquitto_pub(
    port: int, version: str, *arguments: str, lines: str = "", secret: str = "secret"
) -> subprocess.CompletedProcess[str]:
    command = [needs_program("mosquitto_pub"), "-h", "127.0.0.1", "-p", str(port), "-V", version]
    return subprocess.run(
        [*command, "-u", "bridge1", "-P", secret, *arguments],
        input=lines,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


NODE_PUBLISHER = """
const mqtt = require("mqtt");
const [port, version] = process.argv.slice(2).map(Number);
const client = mqtt.connect(`mqtt://127.0.0.1:${port}`, {
  username: "bridge1", password: "secret", protocolVersion: version, reconnectPeriod: 0,
});
client.on("error", (error) => { console.error(error.message); process.exit(1); });
client.on("connect", async () => {
  for (const qos of [0, 1, 2])
    for (let n = 0; n < 50; n++)
      await client.publishAsync("joulebook/v1/home/battery", `[${qos}, ${n}]`, { qos });
  await client.subscribeAsync("#").then(
    () => console.log("subscribed"), () => console.log("refused"));
  await client.endAsync();
  console.log("done");
});
"""


@pytest.fixture(scope="session")
def node_modules() -> Path:
    """Return a folder with npm's ``mqtt``, installed once and kept in the user's cache."""
    npm = needs_program("npm")
    cache = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
    folder = cache / "joulebook-tests" / "npm-mqtt-5"
    installed = folder / "node_modules"
    if not (installed / "mqtt" / "package.json").exists():  # pragma: no cover - first run only
        folder.mkdir(parents=True, exist_ok=True)
        quiet = ["--no-audit", "--no-fund", "--no-save", "--ignore-scripts"]
        subprocess.run(
            [npm, "install", "mqtt@5", "--prefix", str(folder), *quiet],
            check=True,
            capture_output=True,
            timeout=300,
        )
    return installed


@pytest.mark.outside
@pytest.mark.parametrize("version", ["4", "5"])
def test_mqtt_from_npm(
    server: RunningListener, inbox: RecordingInbox, node_modules: Path, version: str
) -> None:
    done = subprocess.run(
        [needs_program("node"), "-", str(server.port), version],
        input=NODE_PUBLISHER,
        env={**os.environ, "NODE_PATH": str(node_modules)},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.stdout.split(), done.stderr) == (["refused", "done"], "")
    assert inbox.payloads() == [b"[%d, %d]" % (qos, n) for qos in (0, 1, 2) for n in range(50)]
