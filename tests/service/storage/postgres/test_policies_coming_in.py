"""The second wall where somebody comes in: a name or a link opens one account, and no other."""

from contextlib import closing

import pytest

from joulebook.storage.narrowing import Narrowing
from joulebook.storage.people import (
    has_owner,
    password_of,
    set_password,
)
from joulebook.storage.secrets import hash_of
from joulebook.storage.sessions import (
    close_session,
    has_signed_in_from,
    open_session,
    sessions_of,
)
from joulebook.storage.welcomes import make_welcome, use_welcome, welcome_of
from tests.helpers.two_tenants import (
    ADDS_AN_OWNER,
    CHANGES,
    HERE,
    INSERTS,
    House,
    all_of,
    nobody_else,
    refused,
    seen,
)
from tests.service.storage.postgres.conftest import NOTHING

pytestmark = pytest.mark.outside


def test_a_name_that_was_given_to_sign_in_finds_one_account_and_changes_none(house: House) -> None:
    hana = house.people["Hana"].id
    with house.narrowed_to(Narrowing(signing_in="hana")) as connection:
        assert seen(connection) == nobody_else({hana})
        assert password_of(connection, "Hana") == (hana, "Hana", "hash of Hana")
        assert password_of(connection, "Fin") is None
        assert has_signed_in_from(connection, hana, HERE)
        for statement in CHANGES:
            assert connection.execute(statement).rowcount == 0
        for statement in INSERTS.values():
            assert refused(connection, statement.format(hana=hana))
    with house.narrowed_to(Narrowing(signing_in="no\0body")) as connection:
        assert seen(connection) == all_of(set())


def test_a_link_opens_one_account(house: House) -> None:
    dan, secret = house.people["Dan"].id, house.links["Dan"]
    with house.narrowed_to(Narrowing(welcome=hash_of(secret))) as connection:
        assert seen(connection) == all_of({dan})
        for statement in INSERTS.values():
            assert refused(connection, statement.format(hana=dan))
        assert welcome_of(connection, house.links["Hana"], now_ms=2) is None
        assert use_welcome(connection, secret, name="", kept="chosen", now_ms=2).name == "Dan"
        # The link is used up, and with it all that it opened.
        assert seen(connection) == all_of(set())
    with house.narrowed_to(Narrowing(welcome=hash_of("made up"))) as connection:
        assert seen(connection) == all_of(set())


def test_the_first_link_makes_an_owner_until_there_is_one(house: House) -> None:
    with closing(house.database.connect()) as connection:
        first = make_welcome(connection, None, now_ms=1)
        founding = Narrowing(welcome=hash_of(first))
        with house.narrowed_to(founding) as late:
            assert {table: len(rows) for table, rows in seen(late).items()} == {
                "people": 0,
                "sessions": 0,
                "welcomes": 1,
            }
            assert refused(late, ADDS_AN_OWNER)
        connection.execute("UPDATE people SET password = NULL WHERE everywhere = 'owner'")
        try:
            with house.narrowed_to(NOTHING) as nobody:
                assert not has_owner(nobody)
                assert refused(nobody, ADDS_AN_OWNER)
            with house.narrowed_to(founding) as early:
                assert refused(early, INSERTS["people"])
                made = use_welcome(early, first, name="Zoe", kept="chosen", now_ms=2)
                assert (made.name, made.everywhere) == ("Zoe", "owner")
                assert has_owner(early)
                assert seen(early) == all_of(set())
        finally:
            set_password(connection, house.people["Ada"].id, "hash of Ada")
            open_session(connection, house.people["Ada"].id, address=HERE, agent="", now_ms=1)
            connection.execute("DELETE FROM welcomes WHERE person_id IS NULL")


def test_a_session_of_who_was_signed_in_before_ends_as_another_comes(house: House) -> None:
    gil, dan = (house.people[name].id for name in ("Gil", "Dan"))
    whose = Narrowing(people=frozenset({gil, dan}))
    with house.narrowed_to(whose) as connection:
        [earlier] = sessions_of(connection, gil, now_ms=2)
        close_session(connection, earlier.id)
        open_session(connection, dan, address="", agent="", now_ms=2)
        assert seen(connection)["sessions"] == {dan}
