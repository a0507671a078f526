import pytest

from joulebook.errors import UsageError
from joulebook.storage.database import Connection
from joulebook.storage.people import (
    Person,
    add_person,
    change_roles,
    has_owner,
    password_of,
    people,
    person_named,
    set_disabled,
    set_password,
)
from joulebook.storage.records import Site
from joulebook.storage.sessions import open_session, session_of


def owner(connection: Connection, name: str = "Ada") -> Person:
    person = add_person(connection, name, now_ms=1, everywhere="owner")
    set_password(connection, person.id, "kept")
    return person_named(connection, name)


def test_somebody_is_added_and_invited(connection: Connection, site: Site) -> None:
    added = add_person(connection, "  Rui   Luz ", now_ms=5, at={site.id: "viewer"})
    assert added == Person(id=1, name="Rui Luz", at={site.id: "viewer"}, made_ms=5)
    assert people(connection) == [added]
    assert added.invited
    assert person_named(connection, "rui  LUZ") == added


@pytest.mark.parametrize("name", ["Zoë", "Ana-Maria", "O'Hara", "李", "x" * 40, "Ana 2"])
def test_names_as_people_have_them(connection: Connection, name: str) -> None:
    assert add_person(connection, name, now_ms=1).name == name


@pytest.mark.parametrize(
    "name", ["", " ", "x" * 41, "a/b", "<b>", "a\x00b", "-x", "Command Line", "this machine"]
)
def test_names_that_are_none_or_ours(connection: Connection, name: str) -> None:
    with pytest.raises(UsageError, match="cannot be the name of a person"):
        add_person(connection, name, now_ms=1)


@pytest.mark.parametrize("name", ["ada", "ADA", "Ada ", "\uff21da"])  # NFKC: a wide A is an A
def test_a_name_is_somebody_s_alone(connection: Connection, name: str) -> None:
    add_person(connection, "Ada", now_ms=1)
    with pytest.raises(UsageError, match="somebody called"):
        add_person(connection, name, now_ms=1)


def test_somebody_unknown_is_named_with_those_there_are(connection: Connection) -> None:
    with pytest.raises(UsageError) as caught:
        person_named(connection, "Rui")
    assert caught.value.expected == "a person"
    add_person(connection, "Ada", now_ms=1)
    with pytest.raises(UsageError) as caught:
        person_named(connection, "Rui")
    assert caught.value.expected == "one of Ada"


def test_there_is_an_owner_from_the_first_password_on(connection: Connection, site: Site) -> None:
    assert not has_owner(connection)
    invited = add_person(connection, "Ada", now_ms=1, everywhere="owner")
    assert not has_owner(connection)  # who was only invited cannot sign in yet
    local = add_person(connection, "Ben", now_ms=1, at={site.id: "owner"})
    set_password(connection, local.id, "kept")
    assert not has_owner(connection)
    set_password(connection, invited.id, "kept")
    assert has_owner(connection)


def test_a_new_password_signs_out_everywhere(connection: Connection) -> None:
    person = owner(connection)
    secret = open_session(connection, person.id, address="", agent="", now_ms=1)
    set_password(connection, person.id, "other")
    assert session_of(connection, secret, now_ms=1) is None
    assert password_of(connection, " aDa") == (person.id, "Ada", "other")


def test_who_is_invited_or_shut_out_has_no_password_that_counts(connection: Connection) -> None:
    owner(connection)
    add_person(connection, "Rui", now_ms=1)
    assert password_of(connection, "Rui") is None
    ben = owner(connection, "Ben")
    secret = open_session(connection, ben.id, address="", agent="", now_ms=1)
    set_disabled(connection, ben, disabled_ms=9)
    assert password_of(connection, "Ben") is None
    assert session_of(connection, secret, now_ms=1) is None
    assert person_named(connection, "Ben").disabled_ms == 9
    set_disabled(connection, ben, disabled_ms=None)
    assert password_of(connection, "Ben") == (ben.id, "Ben", "kept")
    assert session_of(connection, secret, now_ms=1) is None  # he has to sign in again


def test_what_somebody_may_do_is_changed(connection: Connection, site: Site) -> None:
    person = add_person(connection, "Rui", now_ms=1, everywhere="viewer")
    changed = change_roles(connection, person, everywhere=None, inside={}, at={site.id: "owner"})
    assert (changed.everywhere, changed.at) == (None, {site.id: "owner"})
    assert people(connection) == [changed]


def test_the_last_owner_stays_one(connection: Connection, site: Site) -> None:
    ada = owner(connection)
    add_person(connection, "Rui", now_ms=1, everywhere="owner")  # invited: cannot sign in
    with pytest.raises(UsageError, match="the only owner"):
        set_disabled(connection, ada, disabled_ms=9)
    with pytest.raises(UsageError, match="the only owner"):
        change_roles(connection, ada, everywhere="viewer", inside={}, at={})
    assert people(connection)[0] == ada
    ben = owner(connection, "Ben")
    set_disabled(connection, ada, disabled_ms=9)
    with pytest.raises(UsageError, match="the only owner"):
        set_disabled(connection, ben, disabled_ms=9)
    assert has_owner(connection)
    change_roles(connection, ben, everywhere="owner", inside={}, at={site.id: "viewer"})
