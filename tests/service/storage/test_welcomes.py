import pytest

from joulebook.errors import UsageError
from joulebook.storage.database import Connection
from joulebook.storage.people import (
    add_person,
    has_owner,
    password_of,
    people,
    set_disabled,
    set_password,
)
from joulebook.storage.records import Site
from joulebook.storage.welcomes import (
    FIRST_MS,
    INVITED_MS,
    Welcome,
    make_welcome,
    use_welcome,
    welcome_of,
)


def test_the_first_owner_comes_in_once(connection: Connection) -> None:
    secret = make_welcome(connection, None, now_ms=0)
    assert welcome_of(connection, secret, now_ms=1) == Welcome(1, None)
    assert welcome_of(connection, "x" + secret, now_ms=1) is None
    person = use_welcome(connection, secret, name="Ada", kept="kept", now_ms=1)
    assert has_owner(connection)
    assert (person.name, person.everywhere) == ("Ada", "owner")
    with pytest.raises(UsageError, match="good no longer"):
        use_welcome(connection, secret, name="Eve", kept="kept", now_ms=1)
    assert [one.name for one in people(connection)] == ["Ada"]


def test_a_link_for_the_first_owner_is_good_for_a_day_and_until_there_is_one(
    connection: Connection,
) -> None:
    secret = make_welcome(connection, None, now_ms=0)
    assert welcome_of(connection, secret, now_ms=FIRST_MS - 1) is not None
    assert welcome_of(connection, secret, now_ms=FIRST_MS) is None
    ada = add_person(connection, "Ada", now_ms=1, everywhere="owner")
    set_password(connection, ada.id, "kept")
    assert welcome_of(connection, secret, now_ms=1) is None


def test_somebody_who_was_invited_chooses_a_password(connection: Connection, site: Site) -> None:
    rui = add_person(connection, "Rui", now_ms=0, at={site.id: "viewer"})
    secret = make_welcome(connection, rui.id, now_ms=0)
    assert welcome_of(connection, secret, now_ms=INVITED_MS - 1) == Welcome(1, rui)
    assert welcome_of(connection, secret, now_ms=INVITED_MS) is None
    person = use_welcome(connection, secret, name="ignored", kept="kept", now_ms=1)
    assert person == rui
    assert password_of(connection, "Rui") == (rui.id, "Rui", "kept")
    assert welcome_of(connection, secret, now_ms=1) is None


def test_an_earlier_link_for_the_same_is_good_no_longer(connection: Connection) -> None:
    rui = add_person(connection, "Rui", now_ms=0)
    earlier, first = (
        make_welcome(connection, rui.id, now_ms=0),
        make_welcome(connection, None, now_ms=0),
    )
    later = make_welcome(connection, rui.id, now_ms=1)
    assert welcome_of(connection, earlier, now_ms=1) is None
    assert welcome_of(connection, later, now_ms=1) is not None
    assert welcome_of(connection, first, now_ms=1) is not None


def test_whoever_is_shut_out_does_not_come_in_by_a_link(connection: Connection) -> None:
    rui = add_person(connection, "Rui", now_ms=0)
    secret = make_welcome(connection, rui.id, now_ms=0)
    set_disabled(connection, rui, disabled_ms=1)
    assert welcome_of(connection, secret, now_ms=1) is None


def test_a_name_that_will_not_do_leaves_the_link_good(connection: Connection) -> None:
    secret = make_welcome(connection, None, now_ms=0)
    with pytest.raises(UsageError, match="cannot be the name"):
        use_welcome(connection, secret, name="nobody", kept="kept", now_ms=1)
    assert welcome_of(connection, secret, now_ms=1) is not None
    assert people(connection) == []
