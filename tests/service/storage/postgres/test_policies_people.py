"""The second wall around people: raw SQL, sent as who may not see every site, finds no others.

Which policy is asked at which command: PostgreSQL's manual, CREATE POLICY, table "Policies Applied
by Command Type".
"""

from contextlib import closing

import psycopg
import pytest

from joulebook.errors import UsageError
from joulebook.storage.people import (
    add_person,
    has_owner,
    people,
    person_named,
    set_disabled,
    set_password,
)
from joulebook.storage.sessions import (
    close_sessions,
    open_session,
    sessions_of,
)
from joulebook.storage.welcomes import make_welcome
from tests.helpers.two_tenants import (
    CHANGES,
    HERE,
    INSERTS,
    TABLES,
    House,
    Refused,
    all_of,
    nobody_else,
    refused,
    seen,
)
from tests.service.storage.postgres.conftest import NOTHING

pytestmark = pytest.mark.outside


def test_who_sees_everything_sees_them_all(house: House) -> None:
    everybody = house.numbers(*house.people)
    with closing(house.database.connect()) as connection:
        assert seen(connection) == all_of(everybody)
        assert not any(person.elsewhere for person in people(connection))


def test_the_role_by_itself_sees_nothing(house: House) -> None:
    assert house.database.server is not None
    with psycopg.connect(house.database.server.url) as raw:
        raw.execute("SET ROLE joulebook_pages")
        for table in TABLES:
            assert raw.execute(f"SELECT count(*) FROM {table}").fetchone() == (0,)


def test_nobody_reads_and_writes_nothing(house: House) -> None:
    with house.narrowed_to(NOTHING) as connection:
        assert seen(connection) == all_of(set())
        assert people(connection) == []
        for statement in CHANGES:
            assert connection.execute(statement).rowcount == 0
        for statement in INSERTS.values():
            assert refused(connection, statement.format(hana=house.people["Hana"].id))
        assert has_owner(connection)  # of which he is told that it is so, and no more


def test_somebody_has_his_own_account_and_no_other(house: House) -> None:
    [gil] = house.numbers("Gil")
    with house.asked_by("Gil") as connection:
        assert seen(connection) == nobody_else({gil})
        assert [one.address for one in sessions_of(connection, gil, now_ms=2)] == [HERE]
        for other in house.numbers("Fin", "Ivo", "Hana", "Ada"):
            assert sessions_of(connection, other, now_ms=2) == []
            assert close_sessions(connection, other) == 0
        set_password(connection, gil, "another")
        assert [row[1:] for row in connection.execute("SELECT id, password FROM people")] == [
            ("another",)
        ]
        open_session(connection, gil, address="here", agent="", now_ms=2)
        assert [one.address for one in sessions_of(connection, gil, now_ms=2)] == ["here"]
        for table, statement in INSERTS.items():
            assert refused(connection, statement.format(hana=house.people["Hana"].id)), table
        assert connection.execute("DELETE FROM sessions").rowcount == 1


def test_an_owner_of_an_organisation_sees_its_people(house: House) -> None:
    kept = house.numbers("Fin", "Gil", "Cleo")
    between = {"Ivo", "Joy", "Kit", "Eve"}
    known = kept | house.numbers(*between)
    with house.asked_by("Fin", owns=True) as connection:
        assert seen(connection) == {"people": known, "sessions": kept, "welcomes": kept}
        there = {person.name: person for person in people(connection)}
    # Of who may do something elsewhere too it is told that he may, and not where.
    assert {name for name, person in there.items() if person.elsewhere} == between
    assert (there["Ivo"].at, there["Ivo"].inside) == ({}, {house.kiln: "viewer"})
    assert there["Cleo"].at == {house.studio: "viewer"}


def test_and_has_power_over_accounts_of_nobody_else(house: House) -> None:
    kept = house.numbers("Fin", "Gil", "Cleo")
    with house.asked_by("Fin", owns=True) as connection:
        for name in ("Ivo", "Joy", "Kit", "Eve", "Hana", "Ada", "Odd"):
            number = house.people[name].id
            for column in ("password = 'x'", "disabled_ms = 1"):
                statement = f"UPDATE people SET {column} WHERE id = {number}"
                assert connection.execute(statement).rowcount == 0, name
            assert close_sessions(connection, number) == 0, name
            for table in ("sessions", "welcomes"):
                assert refused(connection, INSERTS[table].format(hana=number)), name
        assert connection.execute("UPDATE people SET disabled_ms = 1").rowcount == len(kept)
        # What lets somebody in as another one he may make for those, and no session.
        gil = house.people["Gil"]
        assert refused(connection, INSERTS["sessions"].format(hana=gil.id))
        assert make_welcome(connection, gil.id, now_ms=2)
        set_disabled(connection, gil, disabled_ms=2)
        assert seen(connection)["sessions"] == kept - {gil.id}
        assert connection.execute("DELETE FROM sessions").rowcount == len(kept) - 1
        assert connection.execute("DELETE FROM welcomes").rowcount == len(kept)


def test_he_adds_people_to_it(house: House) -> None:
    with house.asked_by("Fin", owns=True) as connection:
        added = add_person(connection, "Jo", now_ms=2, inside={house.kiln: "viewer"})
        assert make_welcome(connection, added.id, now_ms=2)
        assert person_named(connection, "Jo") == added
        # A name is taken also where he may not see by whom.
        with pytest.raises(UsageError, match="somebody called"):
            add_person(connection, "hana", now_ms=2)
        # Who may do everything he adds nobody, nor somebody with a password that he knows.
        with pytest.raises(Refused):
            add_person(connection, "Max", now_ms=2, everywhere="viewer")


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE people SET everywhere = 'owner'",
        "UPDATE people SET name = 'X'",
        "DELETE FROM people",
        "INSERT INTO people (name, name_folded, password, made_ms) VALUES ('X', 'x', 'y', 1)",
        "SELECT secret_sha256 FROM sessions",
        "UPDATE sessions SET seen_ms = 5",
        "UPDATE welcomes SET ends_ms = 5",
    ],
)
def test_what_no_page_does_nobody_may(house: House, statement: str) -> None:
    with house.asked_by("Fin", owns=True) as connection:
        assert refused(connection, statement)


def test_a_table_that_somebody_made_is_not_taken_for_ours(house: House) -> None:
    with house.asked_by("Fin", owns=True) as connection:
        connection.execute(
            "CREATE TEMP TABLE organisation_roles (person_id int8, organisation_id int8)"
        )
        connection.execute(
            "INSERT INTO organisation_roles VALUES (?, ?)", (house.people["Hana"].id, house.kiln)
        )
        assert house.people["Hana"].id not in seen(connection)["people"]


def test_what_looks_past_the_wall_is_for_pages_alone(house: House) -> None:
    with closing(house.database.connect()) as connection:
        found = connection.execute(
            """
            SELECT proname, has_function_privilege('public', oid, 'EXECUTE')
            FROM pg_proc
            WHERE prosecdef AND pronamespace = current_schema()::regnamespace
            """
        ).fetchall()
    assert len(found) == 6
    assert not any(open_to_all for _, open_to_all in found)
