from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.audit import audit_log
from joulebook.storage.tokens import check_token, revoke_token
from tests.helpers.pages import words_of
from tests.helpers.visitors import Door, Visitor, link_in, opened_door

PAGE = "/sites/studio/setup/tokens"


@pytest.fixture
def door(tmp_path: Path) -> Door:
    return opened_door(tmp_path)


@pytest.fixture
def ben(door: Door) -> Visitor:
    return door.signed_in("Ben")


def test_a_token_is_made_and_shown_once(door: Door, ben: Visitor) -> None:
    assert "No token lets a bridge" in words_of(ben.client.get(PAGE).text)
    answer = ben.post(PAGE, name="shed", scope="write")
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    secret = link_in(answer.text)
    grant = check_token(door.database, "shed", secret, now_ms=door.clock[0])
    assert grant is not None
    assert (grant.site, grant.scope) == ("studio", "write")
    page = ben.client.get(PAGE).text
    assert secret not in page
    assert "1 token lets a bridge or a program in." in words_of(page)
    assert "last noted in use" in words_of(page)
    with closing(door.database.connect()) as connection:
        [noted] = audit_log(connection)
    assert (noted.who, noted.site, noted.action) == ("Ben", "studio", "make token")
    assert secret not in noted.detail


def test_one_that_reads_is_used_by_basic_or_bearer(door: Door, ben: Visitor) -> None:
    secret = link_in(ben.post(PAGE, name="reader", scope="read").text)
    for program in (door.program(secret), door.program(secret, "reader")):
        assert program.get("/api/v1/sites/studio/days").status_code == 200
        assert program.get("/api/v1/sites/barn/days").status_code == 404
        assert [site["name"] for site in program.get("/api/v1/sites").json()["sites"]] == ["studio"]


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": "", "scope": "read"}, "This is needed."),
        ({"name": "Shed 1", "scope": "read"}, "cannot be the name of a token"),
        ({"name": "shed", "scope": "metrics"}, "One of write, read."),
    ],
)
def test_what_does_not_do_is_said(ben: Visitor, fields: dict[str, str], said: str) -> None:
    answer = ben.post(PAGE, **fields)
    assert answer.status_code == 422
    assert said in words_of(answer.text)


def test_one_is_revoked_at_once(door: Door, ben: Visitor) -> None:
    secret = link_in(ben.post(PAGE, name="reader", scope="read").text)
    program = door.program(secret)
    assert program.get("/api/v1/sites").status_code == 200
    answer = ben.post(f"{PAGE}/1/revoke")
    assert answer.headers["location"] == f"{PAGE}?done=revoked"
    page = words_of(ben.client.get(answer.headers["location"]).text)
    assert "lets nobody in any more" in page
    assert "Revoked reader" in page
    assert program.get("/api/v1/sites").status_code == 401
    assert ben.post(f"{PAGE}/1/revoke").status_code == 422


def test_those_of_another_site_are_not_his_to_revoke(door: Door, ben: Visitor) -> None:
    secret = door.token("barn-bridge", "write", door.barn)
    assert ben.post(f"{PAGE}/1/revoke").status_code == 422
    assert check_token(door.database, "barn-bridge", secret) is not None
    assert ben.post("/sites/barn/setup/tokens/1/revoke").status_code == 404


def test_one_that_was_made_before_this_was_noted(door: Door, ben: Visitor) -> None:
    door.token("shed", "write", door.studio)
    with closing(door.database.connect()) as connection:
        connection.execute("UPDATE tokens SET made_ms = NULL")
        page = words_of(ben.client.get(PAGE).text)
        assert "Number 1; not used yet, or not noted." in page
        revoke_token(connection, 1, now_ms=1)
