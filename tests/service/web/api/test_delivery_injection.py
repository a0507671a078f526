"""Names, headers and addresses made to mean more than they say, at the HTTP door for readings."""

import base64
import json
import socket
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

import pytest

from joulebook.ingest.inbox import Inbox
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.quarantine import quarantined
from joulebook.storage.records import Quarantined
from joulebook.storage.series import devices_of
from joulebook.storage.tokens import add_token
from joulebook.web.app import build_app
from joulebook.web.watch.health import Health
from tests.helpers.packs import NOW_MS, VOLTAGE
from tests.helpers.served import served

WAIT_S = 60.0
PACK = json.dumps([VOLTAGE]).encode()


class Door:
    """The application behind a real socket: requests go out as they are written."""

    def __init__(self, database: Database, port: int, secret: str) -> None:
        self._database = database
        self._port = port
        self.credentials = base64.b64encode(f"shed:{secret}".encode()).decode()

    def send(self, target: str, head: str = "", *, kind: str = "application/senml+json") -> bytes:
        """POST a good pack to a target, with more lines in its head; return all that comes."""
        request = (
            f"POST {target} HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n"
            f"Authorization: Basic {self.credentials}\r\nContent-Type: {kind}\r\n"
            f"Content-Length: {len(PACK)}\r\n{head}\r\n"
        )
        with socket.create_connection(("127.0.0.1", self._port), WAIT_S) as client:
            client.sendall(request.encode("latin-1") + PACK)
            answer = b""
            while part := client.recv(65536):
                answer += part
        return answer

    def status(self, target: str, head: str = "", *, kind: str = "application/senml+json") -> int:
        answer = self.send(target, head, kind=kind)
        return int(answer[9:12])

    def devices(self) -> frozenset[str]:
        with closing(self._database.connect()) as connection:
            return devices_of(connection, 1)

    def set_aside(self) -> list[Quarantined]:
        with closing(self._database.connect()) as connection:
            return quarantined(connection, None)


@pytest.fixture
def door(tmp_path: Path) -> Iterator[Door]:
    database = Database.open(tmp_path)
    secret = add_token(database, add_site(database, "studio", "Europe/Lisbon"), "shed")
    add_site(database, "annexe", "Europe/Lisbon")
    inbox = Inbox(database, clock_ms=lambda: NOW_MS)
    inbox.start()
    app = build_app(
        database,
        clock_ms=lambda: NOW_MS,
        health=lambda: Health(ready=True),
        inbox=inbox,
        wrote=lambda: None,
        version="1.2.3",
    )
    with served(app) as address:
        yield Door(database, int(address.rpartition(":")[2]), secret)
    inbox.stop()
    database.close()


DEVICES = [
    "../annexe/battery",
    "battery/../../annexe/grid",
    "annexe/battery",
    "battery\r\nX-Injected: 1",
    "battery\x00",
    "+",
    "#",
    "$SYS",
    "Battery",
    "batt\u00e9ry",
    "\u0131battery",  # a dotless i: no letter of a name, although some lower-case to one
    "battery ",
    "-battery",
    "b" * 64,
    "'; DROP TABLE readings; --",
    "{{ 7 * 7 }}",
    "<script>alert(1)</script>",
    "%2e%2e%2f",
    "\ud7ff\ue000",
]


@pytest.mark.parametrize("device", DEVICES, ids=range(len(DEVICES)))
def test_a_device_is_a_name_and_nothing_else(door: Door, device: str) -> None:
    answer = door.send(f"/api/v1/sites/studio/readings?device={quote(device)}")
    assert answer.startswith(b"HTTP/1.1 422")
    assert b"x-injected" not in answer.lower().partition(b"\r\n\r\n")[0]
    assert door.devices() == frozenset()
    (kept,) = door.set_aside()  # kept, with the reason, and of the token's own site
    assert (kept.refused.reason, kept.refused.site_id) == ("topic-invalid", 1)


def test_bytes_of_a_name_that_are_no_utf_8(door: Door) -> None:
    for coded in ("%c0%af", "%ed%a0%80", "%ff", "b%00", "%e0%80%af"):  # overlong, surrogate, none
        assert door.status(f"/api/v1/sites/studio/readings?device={coded}") == 422
    assert door.devices() == frozenset()


@pytest.mark.parametrize(
    ("target", "status"),
    [
        ("/api/v1/sites/annexe/readings?device=battery", 403),
        ("/api/v1/sites/studio/../annexe/readings?device=battery", 404),
        ("/api/v1/sites/studio%2f..%2fannexe/readings?device=battery", 404),
        ("/api/v1/sites/studio%00/readings?device=battery", 403),
        ("/api/v1/sites/studio%0d%0aX-Injected:%201/readings?device=battery", 403),
        ("/api/v1/sites/%73tudio/readings?device=battery", 200),  # %73 is s
        ("//annexe/api/v1/sites/studio/readings?device=battery", 404),
        ("http://annexe/api/v1/sites/studio/readings?device=battery", 404),
        ("/api/v1/sites/studio/readings;device=grid?device=battery", 404),
        ("/api/v1/sites/studio/readings?device=battery&device=grid", 200),
    ],
)
def test_an_address_leads_to_the_tokens_site_or_nowhere(
    door: Door, target: str, status: int
) -> None:
    answer = door.send(target)
    assert int(answer[9:12]) in ({status} if status == 200 else {401, 403, 404})
    assert b"x-injected" not in answer.lower().partition(b"\r\n\r\n")[0]
    assert len(door.devices()) == (status == 200)


@pytest.mark.parametrize(
    "kind",
    [
        "text/html",
        "application/senml+json, text/csv",
        "application/SENML+JSON\x0b",
        "",
        "x" * 5000,
        "application/senml+json\r\n folded",
        "multipart/form-data; boundary=x",
    ],
)
def test_a_type_of_content_is_known_or_not(door: Door, kind: str) -> None:
    answer = door.send("/api/v1/sites/studio/readings?device=battery", kind=kind)
    assert int(answer[9:12]) in (400, 415)
    assert len(answer) < 4000  # what was sent is not sent back at length
    assert door.devices() == frozenset()


def test_a_type_may_have_parameters_and_any_case(door: Door) -> None:
    kind = "Application/SenML+JSON; charset=utf-8"
    assert door.status("/api/v1/sites/studio/readings?device=battery", kind=kind) == 200


@pytest.mark.parametrize(
    "head",
    [
        "Content-Length: 0\r\n",  # two lengths that differ (RFC 9112 §6.3)
        "Transfer-Encoding: chunked\r\n",  # a length beside chunks (§6.1)
        "Transfer-Encoding: xchunked\r\n",
        "Host: annexe\r\n",  # two hosts (§3.2)
        " folded: 1\r\n",  # an obsolete folded line (§5.2)
        "Bad Name: 1\r\n",
        "X: a\x00b\r\n",
        "X: a\rb\r\n",
        "nonsense\r\n",
    ],
)
def test_heads_that_two_programs_might_read_in_two_ways(door: Door, head: str) -> None:
    assert door.status("/api/v1/sites/studio/readings?device=battery", head) in (400, 401, 403, 501)
    assert door.devices() == frozenset()


@pytest.mark.parametrize(
    "credentials",
    ["", "====", "c2hlZA==", "c2hlZDo=", "OnNlY3JldA==", "c2hlZABhOmI=", "/////w==", "x" * 9000],
)
def test_credentials_that_are_none(door: Door, credentials: str) -> None:
    door.credentials = credentials
    assert door.status("/api/v1/sites/studio/readings?device=battery") == 401
    assert door.devices() == frozenset()
