from collections.abc import Callable
from contextlib import closing

import pytest

from joulebook.storage.audit import audit_log
from tests.helpers.pages import HOUSE, words_of
from tests.helpers.visitors import PASSWORD, Door

NEW = "another four words here"
FORM = {"current": PASSWORD, "password": NEW, "again": NEW}


@pytest.fixture
def door(opened: Callable[..., Door]) -> Door:
    return opened()


def actions(door: Door) -> list[str]:
    with closing(door.database.connect()) as connection:
        return [one.action for one in audit_log(connection)]


def test_one_sees_where_one_is_signed_in(door: Door) -> None:
    door.signed_in("Cleo", at="198.51.100.9")
    page = words_of(door.signed_in("Cleo").client.get("/people/me").text)
    assert "You are signed in at 2 places." in page
    assert "192.0.2.7 (this browser)" in page
    assert "198.51.100.9 , since" in page or "198.51.100.9" in page


def test_another_password_ends_all_sessions_and_begins_one_here(door: Door) -> None:
    here, there = door.signed_in("Cleo"), door.signed_in("Cleo", at="198.51.100.9")
    answer = here.post("/people/me/password", **FORM)
    assert (answer.status_code, answer.headers["location"]) == (303, "/people/me?done=password")
    assert answer.cookies["joulebook"] != here.secret
    page = words_of(here.client.get(answer.headers["location"]).text)
    assert "You are signed in here only." in page
    assert "From now on the new password holds" in page
    assert there.client.get("/people/me").status_code == 303
    stolen = door.browser()
    stolen.cookies.set("joulebook", here.secret)
    assert stolen.get("/people/me").status_code == 303
    assert actions(door) == ["change password"]
    signing = {"name": "Cleo", "password": NEW}
    assert door.browser().post("/sign-in", data=signing).status_code == 303


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"current": "wrong"}, "not the password that holds now"),
        ({"password": "short", "again": "short"}, "it has 5 characters"),
        ({"again": "x"}, "The two are not the same."),
    ],
)
def test_what_does_not_do_changes_nothing(door: Door, fields: dict[str, str], said: str) -> None:
    cleo = door.signed_in("Cleo")
    answer = cleo.post("/people/me/password", **FORM | fields)
    assert answer.status_code == 422
    assert said in words_of(answer.text)
    assert not {PASSWORD, NEW} & set(answer.text.split('"'))
    assert cleo.client.get("/people/me").status_code == 200
    assert actions(door) == []


def test_who_guesses_the_password_of_a_session_that_was_left_open_waits(door: Door) -> None:
    # Six at the account, and six more since she is signed in from there.
    cleo = door.signed_in("Cleo")
    for _ in range(12):
        cleo.post("/people/me/password", **FORM | {"current": "wrong"})
    answer = cleo.post("/people/me/password", **FORM)
    assert answer.status_code == 422
    assert "Too many attempts failed" in words_of(answer.text)


def test_one_signs_out_everywhere(door: Door) -> None:
    here, there = door.signed_in("Cleo"), door.signed_in("Cleo")
    answer = here.post("/people/me/sign-out")
    assert answer.headers["location"] == "/sign-in"
    assert there.client.get("/people/me").status_code == 303
    here.client.cookies.set("joulebook", here.secret)
    assert here.client.get("/people/me").status_code == 303
    assert actions(door) == ["sign out everywhere"]


def test_this_machine_has_no_account(opened: Callable[..., Door]) -> None:
    door = opened(owned=False)
    house = door.browser(at="127.0.0.1", base=HOUSE)
    assert house.get("/people/me").headers["location"] == "/people"
    answer = house.post("/people/me/password", data=FORM)
    assert answer.status_code == 403
    assert "has no account" in words_of(answer.text)
