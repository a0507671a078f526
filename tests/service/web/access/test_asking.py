"""A form is read once it is sure who sent it, and only what is of its form."""

import asyncio
from collections.abc import Callable, Coroutine
from contextlib import closing
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import pytest
from fastapi import Request
from starlette.types import Message

from joulebook.storage.events import Event, add_event
from joulebook.web.access.actor import NOBODY, Actor
from joulebook.web.access.asking import form_of, form_with_file_of
from joulebook.web.access.forms import MOST_BYTES, Form
from joulebook.web.access.parts import MOST_BYTES as MOST_PARTS
from joulebook.web.problems import ProblemError
from tests.helpers.pages import NOW_MS
from tests.helpers.visitors import Door, opened_door

TYPE = "application/x-www-form-urlencoded"


@pytest.fixture
def door(tmp_path: Path) -> Door:
    return opened_door(tmp_path)


@pytest.mark.parametrize(
    ("kind", "content", "status"),
    [
        ("multipart/form-data; boundary=x", b"--x--", 415),
        ("application/json", b"{}", 415),
        ("", b"", 415),
        (TYPE, b"=&=&;;%", 422),
        (TYPE, b"name", 422),
        (TYPE, b"name=\xff", 422),
        (TYPE, "&".join(f"a{n}=b" for n in range(201)).encode(), 422),
        (TYPE, b"name=" + b"x" * MOST_BYTES, 413),
    ],
)
def test_what_is_no_form(door: Door, kind: str, content: bytes, status: int) -> None:
    ada = door.signed_in("Ada").client
    answer = ada.post("/people", content=content, headers={"Content-Type": kind})
    assert answer.status_code == status


def test_a_form_of_our_own_pages_in_any_case_of_its_type(door: Door) -> None:
    ada = door.signed_in("Ada")
    content = urlencode({"proof": ada.proof, "name": "Rui", "everywhere": "viewer"})
    kind = {"Content-Type": "Application/X-WWW-Form-Urlencoded; charset=utf-8"}
    assert ada.client.post("/people", content=content, headers=kind).status_code == 200


def test_an_empty_one_has_no_proof(door: Door) -> None:
    ada = door.signed_in("Ada").client
    assert ada.post("/people", content=b"", headers={"Content-Type": TYPE}).status_code == 403


PARTS = "multipart/form-data; boundary=x"


@pytest.mark.parametrize(
    ("kind", "content", "status"),
    [
        (TYPE, b"caption=roof", 415),
        ("image/jpeg", b"x", 415),
        (PARTS, b"", 422),
        (PARTS, b"--x\r\n\r\n--x--", 422),
        (PARTS, b"--x--", 403),  # without the proof of a session
        ("Multipart/Form-Data; Boundary=x", b"--x--", 403),
        (PARTS, bytes(16 * 1024 * 1024 + 1), 413),
    ],
)
def test_what_is_no_form_with_a_file(door: Door, kind: str, content: bytes, status: int) -> None:
    with closing(door.database.connect()) as connection:
        roof = Event(id=0, at_ms=NOW_MS, kind="panels", title="Roof", made_ms=NOW_MS)
        event = add_event(connection, door.studio, roof)
    answer = door.signed_in("Ada").client.post(
        f"/sites/studio/setup/events/{event.id}/photos",
        content=content,
        headers={"Content-Type": kind},
    )
    assert answer.status_code == status


@pytest.mark.parametrize(
    ("taking", "kind", "most"),
    [(form_of, TYPE, MOST_BYTES), (form_with_file_of, PARTS, MOST_PARTS)],
)
def test_whoever_reads_a_form_counts_too(
    taking: Callable[[Request, Actor], Coroutine[Any, Any, Form]], kind: str, most: int
) -> None:
    # The door would not have let it in; what lies behind does not lean on that.
    headers = {"content-type": kind, "origin": "http://house", "host": "house"}

    async def receive() -> Message:
        return {"type": "http.request", "body": bytes(most // 2 + 1), "more_body": True}

    raw = [(name.encode(), value.encode()) for name, value in headers.items()]
    scope = {"type": "http", "scheme": "http", "path": "/", "headers": raw, "query_string": b""}
    with pytest.raises(ProblemError, match=f"longer than {most} bytes") as caught:
        asyncio.run(taking(Request(scope, receive), NOBODY))
    assert caught.value.status == 413
