"""The second wall: what a narrowed connection sees, and who may narrow one.

What row-level security does and whom it binds: PostgreSQL's manual, "Row Security Policies".
"""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

import psycopg
import pytest

from joulebook.storage.catalogue import add_site, sites
from joulebook.storage.database import Connection, Database, ServerPlace, StorageUnavailableError
from joulebook.storage.deletion import belongings
from joulebook.storage.narrowing import Narrowing, narrowed
from joulebook.storage.postgres import policies
from tests.helpers.databases import undone
from tests.helpers.postgres import PostgresServer
from tests.service.storage.postgres.conftest import NOTHING, only
from tests.service.storage.saved_database import fill

pytestmark = pytest.mark.outside

#: No rows of anybody: the number of the schema.
OPEN = {"alembic_version"}


@pytest.fixture(scope="module")
def filled(
    postgres: PostgresServer, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Database]:
    """A database with a little of everything, which these tests leave as it is."""
    database = fill(tmp_path_factory.mktemp("filled"), postgres.place())
    yield database
    database.close()


def counts(connection: Connection, tables: list[str]) -> dict[str, int]:
    return {
        table: connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables
    }


def unwalled(connection: Connection) -> set[str]:
    """Return the tables with rows of a site or an organisation that no policy guards."""
    walled = connection.execute(
        """
        SELECT relname
        FROM pg_class
        JOIN pg_policies ON tablename = relname AND schemaname = current_schema()
        WHERE relrowsecurity AND 'joulebook_pages' = ANY (roles)
        """
    )
    tables = {each.table for each in belongings(connection)}
    return (tables | {"organisations", "organisation_roles"}) - {name for (name,) in walled}


def test_a_table_of_a_site_without_a_policy_is_found(filled: Database) -> None:
    with closing(filled.connect()) as connection:
        # A migration that makes one calls build_wall, which policies.sql defines.
        assert unwalled(connection) == set()
        with undone(connection):
            connection.execute("CREATE TABLE kilns (site_id BIGINT REFERENCES sites (id))")
            assert unwalled(connection) == {"kilns"}
            connection.execute(
                "SELECT build_wall('kilns', 'site_id IN (SELECT * FROM seen_sites())')"
            )
            assert unwalled(connection) == set()


def test_what_is_read_without_a_policy_is_known_to_hold_nothing_of_a_site(
    filled: Database,
) -> None:
    with closing(filled.connect()) as connection:
        # A later table is closed to who is narrowed, until its migration opens it.
        names = connection.execute(
            """
            SELECT relname
            FROM pg_class
            WHERE relkind IN ('r', 'p') AND NOT relrowsecurity
                AND relnamespace = current_schema()::regnamespace
                AND has_table_privilege('joulebook_pages', pg_class.oid, 'SELECT')
            """
        )
        assert {name for (name,) in names} == OPEN


def test_a_narrowed_connection_sees_the_rows_of_its_sites_and_no_others(filled: Database) -> None:
    annexe, studio = sites(filled)
    with closing(filled.connect()) as connection:
        of_a_site = belongings(connection)
        tables = [each.table for each in of_a_site]
        of_studio, of_annexe = (
            {
                each.table: connection.execute(
                    f"SELECT count(*) FROM {each.table} WHERE {each.condition}",
                    {"id": site.id, "name": site.name},
                ).fetchone()[0]
                for each in of_a_site
            }
            for site in (studio, annexe)
        )
    # Of 34 tables some are empty: those of what is dirty, or final.
    assert sum(count > 0 for count in of_studio.values()) >= 25
    for whose, expected in (
        (only(studio), of_studio),
        (only(annexe), of_annexe),
        (NOTHING, dict.fromkeys(tables, 0)),
    ):
        with narrowed(whose), closing(filled.connect()) as connection:
            assert counts(connection, tables) == expected


def test_an_organisation_is_seen_by_its_own(filled: Database) -> None:
    annexe, studio = sites(filled)
    assert studio.organisation_id is not None
    tables = ["organisations", "organisation_roles", "sites", "audit"]
    for organisations, found in (({studio.organisation_id}, [1, 1, 1]), (set(), [0, 0, 0])):
        whose = Narrowing(organisations=frozenset(organisations))
        with narrowed(whose), closing(filled.connect()) as connection:
            there = counts(connection, tables)
            assert [there[name] for name in tables[:3]] == found
            # Of the lines: that the site was put into it.
            assert there["audit"] == len(organisations)
    with narrowed(only(annexe)):
        assert [site.name for site in sites(filled)] == ["annexe"]


def test_what_belongs_to_others_is_not_written_to(filled: Database) -> None:
    annexe, studio = sites(filled)
    with narrowed(only(annexe)), closing(filled.connect()) as connection:
        for statement in ("UPDATE events SET title = 'x'", "DELETE FROM corrections"):
            assert connection.execute(statement).rowcount == 0
        with pytest.raises(psycopg.errors.InsufficientPrivilege, match="row-level security"):
            connection.execute(
                "INSERT INTO tariffs (site_id, from_day, terms, note, made_ms) "
                "VALUES (?, '2026-01-01', '{}', '', 0)",
                (studio.id,),
            )
        # Everybody adds lines to the audit log, and nobody changes any.
        with pytest.raises(psycopg.errors.InsufficientPrivilege, match="permission denied"):
            connection.execute("DELETE FROM audit")
        # A part of a table is no way around the whole.
        with pytest.raises(psycopg.errors.InsufficientPrivilege, match="permission denied"):
            connection.execute("SELECT count(*) FROM blocks_00")


@pytest.fixture
def worker(postgres: PostgresServer) -> ServerPlace:
    """An empty database of a user who may do nothing but own it."""
    url = postgres.empty_database()
    name = url.rpartition("/")[2]
    with psycopg.connect(url, autocommit=True) as admin:
        admin.execute(f"CREATE ROLE worker_{name} LOGIN")
        admin.execute(f"ALTER DATABASE {name} OWNER TO worker_{name}")
        admin.execute(f"ALTER SCHEMA public OWNER TO worker_{name}")
    return ServerPlace(url=url.replace("potter:clay", f"worker_{name}:clay"))


def grant(postgres: PostgresServer, what: str) -> None:
    with psycopg.connect(postgres.url("postgres"), autocommit=True) as admin:
        admin.execute(what)


def user(place: ServerPlace) -> Any:
    return psycopg.conninfo.conninfo_to_dict(place.url)["user"]


def test_a_user_who_may_not_take_the_role_is_told_what_to_do(
    worker: ServerPlace, postgres: PostgresServer, tmp_path: Path, filled: Database
) -> None:
    # `filled` made the role, which is of the whole server.
    with pytest.raises(StorageUnavailableError, match="may not make it") as refused:
        Database.open(tmp_path, worker)
    assert refused.value.next_step == (
        f'as the server\'s superuser: GRANT joulebook_pages TO "{user(worker)}";'
    )
    assert filled.server is not None
    grant(postgres, str(refused.value.next_step).partition(": ")[2])
    database = Database.open(tmp_path, worker)
    add_site(database, "studio", "UTC")
    with narrowed(NOTHING):
        assert sites(database) == []
    assert len(sites(database)) == 1
    database.close()


def test_where_the_role_is_not_there_it_is_made_by_who_may(
    worker: ServerPlace,
    postgres: PostgresServer,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(policies, "ROLE", f"of_{user(worker)}")
    database = Database(tmp_path, worker)
    with pytest.raises(StorageUnavailableError) as refused, database.engine.begin() as connection:
        policies._make_role(connection)
    assert f"CREATE ROLE of_{user(worker)} NOLOGIN; GRANT" in str(refused.value.next_step)
    grant(postgres, f"ALTER ROLE {user(worker)} CREATEROLE")
    with database.engine.begin() as connection:
        policies._make_role(connection)
        assert policies._may_take(connection)
        policies._make_role(connection)  # it is there, and may be taken: nothing is to be done
    grant(postgres, f"REVOKE {policies.ROLE} FROM {user(worker)}")
    with database.engine.begin() as connection:
        policies._make_role(connection)
        assert policies._may_take(connection)
    database.close()
