from collections.abc import Callable
from contextlib import closing

import pytest

from joulebook.storage.audit import audit_log
from joulebook.storage.people import add_person
from joulebook.storage.welcomes import make_welcome
from tests.helpers.pages import words_of
from tests.helpers.visitors import DAY_MS, PASSWORD, Door, person_of

FORM = {"name": "Ada", "password": PASSWORD, "again": PASSWORD}


@pytest.fixture
def bare(opened: Callable[..., Door]) -> Door:
    return opened(owned=False)


def welcome(door: Door, name: str | None = None) -> str:
    with closing(door.database.connect()) as connection:
        now_ms = door.clock[0]
        person = None if name is None else add_person(connection, name, now_ms=now_ms).id
        return f"/welcome/{make_welcome(connection, person, now_ms=now_ms)}"


def test_the_first_owner_chooses_a_name_and_a_password_and_is_in(bare: Door) -> None:
    path, client = welcome(bare), bare.browser()
    page = client.get(path)
    assert "the owner of this joulebook" in words_of(page.text)
    assert page.headers["cache-control"] == "no-store"
    answer = client.post(path, data=FORM)
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    assert client.get("/people").status_code == 200
    ada = person_of(bare, "Ada")
    assert (ada.everywhere, ada.invited) == ("owner", False)
    with closing(bare.database.connect()) as connection:
        assert [(one.who, one.action) for one in audit_log(connection)] == [
            ("Ada", "sign in"),
            ("Ada", "choose a password"),
        ]


def test_from_then_on_this_machine_has_to_sign_in_too(bare: Door) -> None:
    house = bare.browser(at="127.0.0.1", base="http://127.0.0.1:8350")
    assert house.get("/sites/studio").status_code == 200
    bare.browser().post(welcome(bare), data=FORM)
    assert house.get("/sites/studio").status_code == 303


def test_it_is_good_once_and_for_a_day(bare: Door) -> None:
    path = welcome(bare)
    late = welcome(bare)  # makes the earlier one good no longer
    client = bare.browser()
    assert client.get(path).status_code == 404
    bare.clock[0] += DAY_MS
    answer = client.post(late, data=FORM)
    assert answer.status_code == 404
    assert "good no longer" in words_of(answer.text)
    path = welcome(bare)
    assert client.post(path, data=FORM).status_code == 303
    assert bare.browser().post(path, data=FORM | {"name": "Eve"}).status_code == 404


def test_somebody_who_was_invited_is_called_by_name(opened: Callable[..., Door]) -> None:
    door = opened()
    path, client = welcome(door, "Rui"), door.browser()
    page = words_of(client.get(path).text)
    assert "Welcome, Rui" in page
    assert "Name" not in page
    answer = client.post(path, data=FORM | {"name": "Ada"})
    assert answer.status_code == 303
    assert "Rui" in client.get("/people/me").text


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"password": "short", "again": "short"}, "it has 5 characters"),
        ({"again": "another"}, "The two are not the same."),
        ({"name": ""}, "This is needed."),
        ({"name": "Command line"}, "cannot be the name of a person"),
    ],
)
def test_what_does_not_do_is_said_and_the_link_stays_good(
    bare: Door, fields: dict[str, str], said: str
) -> None:
    path, client = welcome(bare), bare.browser()
    answer = client.post(path, data=FORM | fields)
    assert answer.status_code == 422
    assert said in words_of(answer.text)
    assert PASSWORD not in answer.text
    assert client.post(path, data=FORM).status_code == 303


def test_of_two_who_come_at_once_one_is_told(bare: Door, monkeypatch: pytest.MonkeyPatch) -> None:
    path, first, second = welcome(bare), bare.browser(), bare.browser()

    def slowly(password: str) -> str:
        monkeypatch.undo()
        assert first.post(path, data=FORM).status_code == 303
        return password

    monkeypatch.setattr("joulebook.web.pages.welcome.hash_password", slowly)
    answer = second.post(path, data=FORM | {"name": "Eve"})
    assert answer.status_code == 422
    assert "good no longer" in words_of(answer.text)
