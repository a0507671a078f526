"""What docs/limits.md says of each limit is what holds."""

import re
from pathlib import Path

from joulebook.ingest.expectations import MOST_NAME
from joulebook.ingest.mqtt import limits as mqtt
from joulebook.ingest.mqtt.limits import ListenerLimits
from joulebook.ingest.outcomes import MOST_PARTS
from joulebook.ingest.senml_fields import MAX_PACK_BYTES
from joulebook.ingest.units import MOST_UNIT
from joulebook.settings import Settings
from joulebook.storage.event_photos import (
    MOST_OF_A_SITE,
    MOST_OF_AN_EVENT,
    MOST_PIXELS,
    MOST_SENT_BYTES,
)
from joulebook.storage.pictures import LONGEST_SIDE
from joulebook.storage.quarantine import ROOM_IN_ALL, ROOM_OF_A_SITE
from joulebook.storage.series import MAX_DEVICES, MAX_SERIES
from joulebook.web.door import connections
from joulebook.web.door.limits import WebLimits

PAGE = (Path(__file__).parents[1] / "docs" / "limits.md").read_text(encoding="utf-8")
KIB, MIB = 1024, 1024 * 1024


def row(section: str, what: str) -> str:
    """Return the one row of a section's table that begins so."""
    part = PAGE.split(f"## {section}")[1].split("\n## ")[0]
    [found] = re.findall(rf"^\| ({re.escape(what)}.*) \|$", part, flags=re.MULTILINE)
    return str(found)


def numbers(text: str) -> list[float]:
    return [float(each.replace(",", "")) for each in re.findall(r"\d[\d,]*\.?\d*", text)]


def test_the_door_for_bridges() -> None:
    section, held = "The door for bridges", ListenerLimits()
    session = held.session
    expected: dict[str, list[float]] = {
        "connections": [held.address_connections, held.token_connections, held.connections],
        "new connections": [
            held.address_connects_per_s,
            held.address_connects_at_once,
            mqtt.FAILED_LOGIN_COSTS,
        ],
        "from the connection": [held.login_s],
        "first packet": [mqtt.CONNECT_LIMIT / KIB, mqtt.CLIENT_ID_BYTES],
        "packet |": [session.max_packet_size / MIB, session.packet_s],
        "bytes of packets": [held.total_unfinished_bytes / MIB],
        "messages read": [held.messages_per_s, held.total_messages_per_s],
        "bytes read": [held.bytes_per_s / MIB, held.total_bytes_per_s / MIB],
        "messages with the writer": [
            held.waiting_messages,
            held.waiting_bytes / MIB,
            20_000,
            held.total_waiting_bytes / MIB,
        ],
        "a message that has to be set aside": [mqtt.SET_ASIDE_COSTS],
        "messages without an answer": [session.receive_maximum, 5.0, session.unreleased, 2, 3.1, 1],
        "packets without a message": [session.asks_per_s, session.asks_at_once],
        "topic": [mqtt.TOPIC_BYTES, mqtt.TOPIC_LEVELS],
        "user properties": [mqtt.USER_PROPERTIES, mqtt.FILTERS],
        "answers": [held.unread_bytes / KIB, 64],
    }
    for what, values in expected.items():
        assert sorted(numbers(row(section, what))) == sorted(values), what
    assert Settings().mqtt_connections == held.connections
    assert Settings().mqtt_connections_per_address == held.address_connections
    assert Settings().mqtt_messages_per_s == held.messages_per_s


def test_packs_and_what_is_set_aside() -> None:
    packs = PAGE.split("## What a pack may hold")[1].split("\n## ")[0]
    assert numbers(packs) == [
        MAX_PACK_BYTES / KIB,
        256,
        MOST_NAME,
        MOST_UNIT,
        MAX_SERIES,
        MAX_DEVICES,
        MOST_PARTS,
    ]
    aside = PAGE.split("## What is set aside")[1].split("\n## ")[0]
    assert numbers(aside) == [
        ROOM_OF_A_SITE.messages,
        ROOM_OF_A_SITE.bytes / MIB,
        ROOM_IN_ALL.messages,
        ROOM_IN_ALL.bytes / MIB,
    ]


def test_photos() -> None:
    photos = PAGE.split("## Photos of events")[1].split("\n## ")[0]
    assert numbers(photos) == [
        MOST_OF_AN_EVENT,
        MOST_OF_A_SITE,
        MOST_SENT_BYTES / MIB,
        MOST_PIXELS / 1e6,
        LONGEST_SIDE,
    ]


def test_pages_and_the_api() -> None:
    section, held = "Pages, API", WebLimits()
    assert (held.address_per_s, held.address_at_once) == (held.actor_per_s, held.actor_at_once)
    expected: dict[str, list[float]] = {
        "requests |": [
            held.address_per_s,
            held.address_at_once,
            held.total_per_s,
            held.total_at_once,
            429,
        ],
        "requests under way": [held.address_under_way, held.total_under_way, 503],
        "connections": [connections.MOST_OF_AN_ADDRESS, connections.MOST_CONNECTIONS],
        "request line": [
            connections.MOST_OF_A_HEAD / KIB,
            held.headers,
            connections.PATIENCE_S,
            400,
            431,
        ],
        "path, query": [held.path_bytes, held.query_bytes, held.query_parameters, 414, 400],
        "content": [
            held.body.form_bytes / KIB,
            256,
            held.body.readings_bytes / MIB,
            MOST_SENT_BYTES / MIB,
            held.body.file_bytes / MIB,
            held.body.total_bytes / MIB,
            413,
            503,
        ],
        "time for the content": [
            held.body.patience_s,
            held.body.slowest_bytes_per_s / KIB,
            408,
        ],
        "an answer": [connections.PATIENCE_S],
    }
    for what, values in expected.items():
        assert sorted(numbers(row(section, what))) == sorted(values), what
