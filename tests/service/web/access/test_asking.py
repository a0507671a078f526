"""A form is read once it is sure who sent it, and only what is of its form."""

from pathlib import Path
from urllib.parse import urlencode

import pytest

from joulebook.web.access.forms import MOST_BYTES
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
