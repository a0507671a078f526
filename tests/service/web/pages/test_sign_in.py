from collections.abc import Callable
from contextlib import closing
from typing import Any

import pytest
from fastapi.testclient import TestClient

from joulebook.storage.audit import audit_log
from joulebook.storage.sessions import sessions_of
from tests.helpers.pages import HOUSE, words_of
from tests.helpers.visitors import FAR, PASSWORD, Door, person_of


@pytest.fixture
def door(opened: Callable[..., Door]) -> Door:
    return opened()


def sign_in(client: TestClient, name: str = "Ada", password: str = PASSWORD, **more: str) -> Any:
    return client.post("/sign-in", data={"name": name, "password": password, **more})


def test_a_stranger_is_led_to_it_and_then_on(door: Door) -> None:
    client = door.browser()
    answer = client.get("/sites/studio?week=2026-W09")
    assert (answer.status_code, answer.headers["location"]) == (
        303,
        "/sign-in?next=/sites/studio%3Fweek%3D2026-W09",
    )
    page = client.get(answer.headers["location"])
    assert page.headers["cache-control"] == "no-store"
    assert 'name="next" value="/sites/studio?week=2026-W09"' in page.text
    assert 'autocomplete="current-password"' in page.text
    answer = sign_in(client, next="/sites/studio?week=2026-W09")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sites/studio?week=2026-W09")
    assert client.get("/sites/studio").status_code == 200


def test_a_session_begins_anew_with_every_sign_in(door: Door) -> None:
    client = door.browser()
    client.cookies.set("joulebook", "a session that somebody planted")
    first = sign_in(client).cookies["joulebook"]
    assert first != "a session that somebody planted"
    page = client.get("/people/me").text
    proof = page.partition('name="proof" value="')[2].partition('"')[0]
    second = sign_in(client, proof=proof).cookies["joulebook"]
    assert second != first
    with closing(door.database.connect()) as connection:
        ada = person_of(door, "Ada")
        assert len(sessions_of(connection, ada.id, now_ms=door.clock[0])) == 1


def test_whoever_is_signed_in_is_led_on(door: Door) -> None:
    answer = door.signed_in("Ada").client.get("/sign-in", params={"next": "/audit"})
    assert (answer.status_code, answer.headers["location"]) == (303, "/audit")


@pytest.mark.parametrize("elsewhere", ["https://example.org/", "//example.org", "/\\example.org"])
def test_it_leads_nowhere_else(door: Door, elsewhere: str) -> None:
    page = door.browser().get("/sign-in", params={"next": elsewhere})
    assert 'name="next" value="/"' in page.text
    assert sign_in(door.browser(), next=elsewhere).headers["location"] == "/"


def test_a_wrong_password_is_answered_like_a_wrong_name(door: Door) -> None:
    answers = [sign_in(door.browser(), *each) for each in (("Ada", "wrong"), ("Zoe", "wrong"))]
    assert [answer.status_code for answer in answers] == [403, 403]
    shown = [
        answer.text.replace('value="Ada"', "").replace('value="Zoe"', "") for answer in answers
    ]
    assert shown[0] == shown[1]
    assert "do not belong together" in words_of(answers[0].text)
    assert 'value="Ada"' in answers[0].text  # what was written stays, but for the password
    assert "wrong" not in answers[0].text


def test_what_is_missing_is_said_beside_its_field(door: Door) -> None:
    answer = sign_in(door.browser(), name="")
    assert answer.status_code == 422
    assert "This is needed." in words_of(answer.text)


def test_who_guesses_waits_and_longer_each_time(door: Door) -> None:
    client = door.browser(at="198.51.100.1")
    statuses = [sign_in(client, password="wrong").status_code for _ in range(8)]
    assert statuses == [403] * 6 + [429] * 2
    answer = sign_in(client, password=PASSWORD)
    assert (answer.status_code, answer.headers["retry-after"]) == (429, "2")
    assert "Expected: the next attempt in 2 s" in words_of(answer.text)
    door.clock[0] += 2000
    assert sign_in(client, password=PASSWORD).status_code == 303


def test_where_she_is_signed_in_already_guesses_from_elsewhere_do_not_delay_her(door: Door) -> None:
    door.signed_in("Ada", at=FAR)
    stranger = door.browser(at="198.51.100.1")
    for _ in range(8):
        sign_in(stranger, password="wrong")
    assert sign_in(door.browser(at="203.0.113.5")).status_code == 429
    assert sign_in(door.browser(at=FAR)).status_code == 303


def test_a_sign_in_is_noted(door: Door) -> None:
    sign_in(door.browser(), name=" aDA ")
    with closing(door.database.connect()) as connection:
        [noted] = audit_log(connection)
    assert (noted.who, noted.action, noted.detail) == ("Ada", "sign in", f"from {FAR}")


def test_a_form_of_another_site_signs_nobody_in(door: Door) -> None:
    client = door.browser()
    client.headers["Origin"] = "https://example.org"
    assert sign_in(client).status_code == 403
    del client.headers["Origin"]
    assert sign_in(client).status_code == 403
    assert "joulebook" not in client.cookies


def test_signing_out_ends_this_session(door: Door) -> None:
    visitor, other = door.signed_in("Ada"), door.signed_in("Ada")
    assert 'action="/sign-out"' in visitor.client.get("/people/me").text
    answer = visitor.post("/sign-out")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in")
    visitor.client.cookies.set("joulebook", visitor.secret)  # kept by somebody
    assert visitor.client.get("/people/me").status_code == 303
    assert other.client.get("/people/me").status_code == 200


def test_without_the_proof_of_the_session_nothing_is_changed(door: Door) -> None:
    visitor = door.signed_in("Ada")
    assert visitor.client.post("/sign-out", data={"proof": "x"}).status_code == 403
    assert visitor.client.post("/sign-out", data={"other": "x"}).status_code == 403
    assert visitor.client.get("/people/me").status_code == 200


def test_while_there_is_no_owner_it_says_how_to_go_on(opened: Callable[..., Door]) -> None:
    door = opened(owned=False)
    client = door.browser()
    answer = client.get("/sites/studio")
    assert answer.status_code == 401
    assert "has no owner yet" in words_of(answer.text)
    page = words_of(client.get("/sign-in").text)
    assert "joulebook person add NAME --role owner" in page
    house = door.browser(at="127.0.0.1", base=HOUSE)
    assert house.get("/sites/studio").status_code == 200
    assert house.post("/sign-out", data={"proof": ""}).status_code == 303  # nothing to end
