"""Good examples of all that the doors take in, for mutations to begin with."""

import json
from pathlib import Path

from tests.helpers.mqtt_packets import (
    DISCONNECT,
    PINGREQ,
    connect,
    packet,
    properties,
    publish,
    pubrel,
    text,
)

_EXAMPLES = Path(__file__).parents[2] / "docs" / "wire-format"

#: The topic of mutated packs; nothing else is sent to it.
TOPIC = "joulebook/v1/garden/battery"

RULES = """\
[[mapping]]
topic = "kiln/+/state"
site = "garden"
device = "load-{1}"
time = "/at"
time_form = "milliseconds"
[[mapping.reading]]
quantity = "power"
pointer = "/lines/0"
unit = "W"
scale = 0.1
missing = [65535, "n/a"]
[[mapping.reading]]
quantity = "energy"
pointer = "/deep/er/0/x~1y"
unit = "kWh"

[[mapping]]
topic = "clamp/#"
site = "garden"
device = "grid"
[[mapping.reading]]
quantity = "power"
unit = "W"
turn_sign = true
"""

MAPPED = (
    b'{"at": 1780000000000, "lines": [1201, 613.5], "deep": {"er": [{"x/y": 4.5}]}}',
    b'{"at": 1780000000000, "lines": ["n/a"], "deep": {"er": []}}',
    b"-12.5",
    b'"17.25"',
    b"null",
)

CSV = (
    b"time,battery.voltage [V],battery.soc [%],inverter.mode\n"
    b"2026-05-28T20:26:40Z,53.1,61.3,inverting\n"
    b"2026-05-28T20:26:50Z,,61.2,\n",
    b"time;grid.power [kW];pv.energy [kWh]\n1780000000;1,5;12,25\n1780000010;;12,26\n",
    b'\xef\xbb\xbftime,"load.power [W]"\r\n"2026-05-28 20:26:40+02:00","1,000"\r\n',
)

_PUBLISH_PROPERTIES = b"\x01\x01\x02\x00\x00\x00\x09\x03" + text("a") + b"\x26" + text("k") * 2
_CONNECT_PROPERTIES = b"\x11\x00\x00\x00\x0a\x21\x00\x14\x27\x00\x00\x01\x00\x17\x01\x19\x00"


def each_kind(level: int, topic: str = TOPIC) -> list[bytes]:
    """Return a packet of each kind that a client sends, the CONNECT first."""
    five = level == 5
    raw = _PUBLISH_PROPERTIES if five else b""
    return [
        connect(level, raw=_CONNECT_PROPERTIES, will=("w", b"gone", 1, True), raw_will=raw),
        publish(topic, level=level, qos=0, raw=raw),
        publish(topic, level=level, qos=1, raw=raw, payload=bytes(200)),
        publish(topic, level=level, qos=2, packet_id=9),
        pubrel(9),
        packet(0x40, b"\x00\x01" + (b"\x10\x00" if five else b"")),
        packet(0x82, b"\x00\x0a" + properties(level) + text("a/#") + b"\x01"),
        packet(0xA2, b"\x00\x0a" + properties(level) + text("a/#")),
        packet(0xF0, b"\x18" + properties(5, b"\x15" + text("m"))),
        PINGREQ,
        DISCONNECT if not five else bytes.fromhex("E007 00 05 1100000009"),
    ]


def packets(level: int) -> list[bytes]:
    """Return packets of each kind, and those with the payloads that the service takes."""
    return [
        *each_kind(level),
        *(publish(TOPIC, pack, level=level, packet_id=7) for pack in packs()),
        *(publish("kiln/2/state", mapped, level=level, packet_id=8) for mapped in MAPPED),
    ]


def packs() -> list[bytes]:
    """Return the payloads of the wire format's examples, JSON and CBOR, good and bad."""
    found = []
    for file in sorted(_EXAMPLES.glob("*/*.json")):
        example = json.loads(file.read_text(encoding="utf-8"))
        raw = example.get("payload_text", "").encode() or bytes.fromhex(
            example.get("payload_hex", "")
        )
        found.append(raw)
    return [raw for raw in found if raw]
