"""Readings by HTTP, through the real writer."""

import asyncio
import base64
import json
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import cbor2
import pytest
from fastapi.testclient import TestClient

from joulebook.core.spans import Span
from joulebook.ingest.inbox import Inbox
from joulebook.ingest.message import Verdict
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.quarantine import quarantine_count
from joulebook.storage.reading import read_device
from joulebook.storage.tokens import add_token
from joulebook.web.api import delivery
from tests.helpers.packs import NOW_MS, VOLTAGE
from tests.helpers.pages import client_of

SENML = "application/senml+json"


class Door:
    """The application with its writer, and a bridge's token."""

    def __init__(self, database: Database, client: TestClient, secret: str) -> None:
        self.database = database
        self.client = client
        self.secret = secret

    def post(
        self,
        content: bytes,
        *,
        site: str = "studio",
        device: str | None = "battery",
        kind: str = SENML,
        credentials: str | None = None,
    ) -> Any:
        given = credentials if credentials is not None else f"shed:{self.secret}"
        coded = base64.b64encode(given.encode()).decode()
        return self.client.post(
            f"/api/v1/sites/{site}/readings",
            params={} if device is None else {"device": device},
            content=content,
            headers={"Content-Type": kind, "Authorization": f"Basic {coded}"},
        )

    def voltages(self) -> list[float]:
        with closing(self.database.connect()) as connection:
            found = read_device(connection, 1, "battery", Span(0, 2 * NOW_MS))
        return found.values["voltage"].tolist() if found.values else []

    def set_aside(self) -> int:
        with closing(self.database.connect()) as connection:
            return quarantine_count(connection, 1)


@contextmanager
def opened(folder: Path, *, started: bool = True, **given: Any) -> Iterator[Door]:
    database = Database.open(folder)
    secret = add_token(database, add_site(database, "studio", "Europe/Lisbon"), "shed")
    add_site(database, "barn", "Europe/Lisbon")
    inbox = Inbox(database, clock_ms=lambda: NOW_MS, **given)
    if started:
        inbox.start()
    yield Door(database, client_of(database, now_ms=NOW_MS, inbox=inbox), secret)
    inbox.stop()
    database.close()


@pytest.fixture
def door(tmp_path: Path) -> Iterator[Door]:
    with opened(tmp_path) as made:
        yield made


def pack(**more: object) -> bytes:
    return json.dumps([{**VOLTAGE, **more}]).encode()


def test_a_pack_is_on_disk_when_the_answer_comes(door: Door) -> None:
    answer = door.post(pack())
    assert (answer.status_code, answer.json()) == (200, {"verdict": "stored"})
    assert door.voltages() == [53.1]
    # The same again changes nothing; CBOR is told by its type and its first byte.
    assert door.post(pack(bt=NOW_MS / 1000)).status_code == 200
    binary = cbor2.dumps([{0: "voltage", 1: "V", 2: 53.2, -3: NOW_MS // 1000 - 1}])
    assert door.post(binary, kind="application/senml+cbor; x=1").status_code == 200
    assert door.voltages() == [53.2, 53.1]


def test_a_csv_is_imported_and_counted(door: Door) -> None:
    content = b"time,battery.voltage [V],pv.power [W]\n1779999990,53.0,100\n1779999991,53.1,x\n"
    answer = door.post(content, kind="text/csv", device=None)
    assert answer.status_code == 200
    assert answer.json() == {"rows": 2, "new": 3, "repeated": 0, "replaced": 0, "quarantined": 1}
    assert door.voltages() == [53.0, 53.1]
    wrong = door.post(b"when,battery.voltage [V]\n", kind="text/csv", device=None)
    assert wrong.status_code == 400
    assert "time" in wrong.json()["expected"]


@pytest.mark.parametrize(
    ("content", "device", "status"),
    [(b"[", "battery", 422), (pack(u="furlong"), "battery", 422), (pack(), "The Pack", 422)],
)
def test_what_cannot_be_used_is_kept_and_told(
    door: Door, content: bytes, device: str, status: int
) -> None:
    answer = door.post(content, device=device)
    assert answer.status_code == status
    assert answer.json()["title"] == "Kept, and not usable"
    assert door.set_aside() == 1


@pytest.mark.parametrize(
    "credentials", ["shed:wrong", "barn-bridge:x", "shed", "", ":"], ids=lambda each: each or "none"
)
def test_nobody_gets_in_without_a_token(door: Door, credentials: str) -> None:
    answer = door.post(pack(), credentials=credentials)
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"].startswith("Basic ")
    assert (door.voltages(), door.set_aside()) == ([], 0)


@pytest.mark.parametrize("header", ["Bearer x", "Basic !", "Basic /w==", "Basic"])
def test_a_header_that_is_no_basic_authentication_lets_nobody_in(door: Door, header: str) -> None:
    answer = door.client.post(
        "/api/v1/sites/studio/readings",
        content=pack(),
        headers={"Content-Type": SENML, "Authorization": header},
    )
    assert answer.status_code == 401


def test_a_token_opens_its_own_site_only(door: Door) -> None:
    for site in ("barn", "nowhere"):
        assert door.post(pack(), site=site).status_code == 403
    assert door.set_aside() == 0


def test_other_contents_are_turned_away(door: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    assert door.post(pack(), kind="text/html").status_code == 415
    assert door.post(pack(), kind="").status_code == 415
    assert door.post(pack(), device=None).status_code == 422
    monkeypatch.setitem(delivery.MOST_BYTES, "senml", 20)
    assert door.post(pack()).status_code == 413
    assert door.voltages() == []


def test_a_writer_that_is_full_or_slow_asks_for_patience(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(delivery, "PATIENCE_S", 0.05)
    with opened(tmp_path, started=False, room=1) as door:
        slow = door.post(pack())
        assert (slow.status_code, slow.headers["retry-after"]) == (503, "5")
        full = door.post(pack())
        assert full.status_code == 503
        assert "more to do" in full.json()["detail"]


def test_an_answer_that_nobody_waits_for_any_more_is_let_go() -> None:
    async def once_and_again() -> Verdict:
        settled: asyncio.Future[Verdict] = asyncio.get_running_loop().create_future()
        delivery._resolve(settled, Verdict.STORED)
        delivery._resolve(settled, Verdict.QUARANTINED)
        return await settled

    assert asyncio.run(once_and_again()) is Verdict.STORED
