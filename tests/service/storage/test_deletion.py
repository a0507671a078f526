"""A deleted site leaves nothing, in any table or byte of the file; its neighbour loses nothing."""

from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage import deletion
from joulebook.storage.audit import Audited, audit_log, note_change
from joulebook.storage.catalogue import add_site, sites
from joulebook.storage.connections import on_server
from joulebook.storage.database import Connection, Database
from joulebook.storage.deletion import belongings, delete_site
from joulebook.storage.events import Event, add_event
from joulebook.storage.quarantine import put_aside
from joulebook.storage.records import Refused, Site
from joulebook.storage.sealing import seal
from joulebook.storage.tokens import add_token
from joulebook.summaries.recompute import recompute
from tests.helpers.databases import write
from tests.helpers.sealed import DAY_MS, LATER_MS, MONDAY_MS, power, write_days

SECRET = "the kiln in the old barn"

_FILE_COLUMNS = """
    SELECT tables.name, columns.name
    FROM sqlite_schema AS tables, pragma_table_info(tables.name) AS columns
    WHERE tables.type = 'table'
"""
_SERVER_COLUMNS = """
    SELECT table_name, column_name
    FROM information_schema.columns
    WHERE table_schema = 'public' AND table_name NOT LIKE 'blocks\\___'
"""


@pytest.fixture
def house(database: Database, site: Site) -> tuple[Database, Site, Site]:
    """Two sites with something in every table that a site can have."""
    first = site
    second = add_site(database, "annex", "UTC")
    for each in (first, second):
        add_token(database, each, "shed")
        with closing(database.connect()) as connection:
            write_days(connection, each, range(6))
            seal(connection, LATER_MS - 4 * DAY_MS)
            event = Event(id=0, at_ms=MONDAY_MS, kind="other", title=SECRET, made_ms=LATER_MS)
            add_event(connection, each, event)
            put_aside(connection, [_refused(each)])
            change = Audited(at_ms=1, who="Ana", site=each.name, action="add event", detail=SECRET)
            note_change(connection, change)
        recompute(database, each, clock_ms=lambda: LATER_MS)
    return database, first, second


def _refused(site: Site) -> Refused:
    return Refused(
        site_id=site.id,
        source="shed",
        topic=f"joulebook/v1/{site.name}",
        payload=SECRET.encode() + site.name.encode(),
        reason="name-illegal",
        detail="no",
        received_ms=LATER_MS,
    )


def deleted(
    database: Database,
    site: Site,
    progress: Callable[[int, int], None] = lambda _done, _total: None,
) -> int:
    with closing(database.connect()) as connection:
        return delete_site(connection, site, who="Ana", now_ms=5, progress=progress)


def counts(connection: Connection, site: Site) -> dict[str, int]:
    """Return how many rows of each table are of a site."""
    return {
        each.table: connection.execute(
            f"SELECT count(*) FROM {each.table} WHERE {each.condition}",
            {"id": site.id, "name": site.name},
        ).fetchone()[0]
        for each in belongings(connection)
    }


def test_every_table_that_knows_sites_devices_or_series_is_among_them(
    house: tuple[Database, Site, Site],
) -> None:
    with closing(house[0].connect()) as connection:
        known = {each.table for each in belongings(connection)}
        tables: dict[str, set[str]] = {}
        for table, column in connection.execute(
            _SERVER_COLUMNS if on_server(connection) else _FILE_COLUMNS
        ):
            tables.setdefault(table, set()).add(column)
    theirs = {"site_id", "device_id", "series_id", "site", "owner"}
    assert {name for name, columns in tables.items() if columns & theirs} <= known
    assert {"readings", "blocks", "newest", "quarters", "seal_links", "day_results"} <= known
    assert not known & {"people", "sessions", "markings", "alembic_version"}


def test_nothing_of_it_is_left_and_its_neighbour_is_as_it_was(
    house: tuple[Database, Site, Site],
) -> None:
    database, first, second = house
    with closing(database.connect()) as connection:
        before, kept = counts(connection, first), power(connection, second)
        others = counts(connection, second)
    assert min(before[name] for name in ("tokens", "readings", "blocks", "events", "audit")) > 0
    told: list[tuple[int, int]] = []
    gone = deleted(database, first, progress=lambda done, all_: told.append((done, all_)))
    assert gone == sum(before.values())
    assert told[-1][0] == told[-1][1]
    with closing(database.connect()) as connection:
        assert set(counts(connection, first).values()) == {0}
        assert counts(connection, second) == others
        assert power(connection, second) == kept
        newest = audit_log(connection)[0]
        assert (newest.action, newest.detail, newest.site) == ("delete site", "studio", None)
        if not on_server(connection):
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    assert [site.name for site in sites(database)] == ["annex"]


@pytest.mark.on_a_file
def test_no_byte_of_its_words_is_left_in_the_file(
    database: Database, site: Site, tmp_path: Path
) -> None:
    with closing(database.connect()) as connection:
        event = Event(id=0, at_ms=MONDAY_MS, kind="other", title=SECRET, made_ms=LATER_MS)
        add_event(connection, site, event)
    files = [tmp_path / name for name in ("joulebook.sqlite3", "joulebook.sqlite3-wal")]
    assert any(SECRET.encode() in file.read_bytes() for file in files if file.exists())
    deleted(database, site)
    database.close()
    assert not any(SECRET.encode() in file.read_bytes() for file in tmp_path.iterdir())


def test_many_rows_go_some_at_a_time(
    house: tuple[Database, Site, Site], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(deletion, "ROWS_AT_ONCE", 7)
    database, first, second = house
    deleted(database, first)
    with closing(database.connect()) as connection:
        assert set(counts(connection, first).values()) == {0}
        assert counts(connection, second)["readings"] > 0


def test_a_deletion_that_was_cut_short_is_taken_up_again(
    house: tuple[Database, Site, Site],
) -> None:
    database, first, _ = house

    def cut(done: int, _all: int) -> None:
        if done == 4:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        deleted(database, first, progress=cut)
    with closing(database.connect()) as connection:
        assert counts(connection, first)["tokens"] == 0  # nobody can write any more
    assert len(sites(database)) == 2
    deleted(database, first)
    with closing(database.connect()) as connection:
        assert set(counts(connection, first).values()) == {0}


@pytest.mark.on_a_file
def test_a_table_without_rowids_is_emptied_by_its_key(
    house: tuple[Database, Site, Site],
) -> None:
    database, first, _ = house
    with closing(database.connect()) as connection:
        connection.execute(
            "CREATE TABLE shelves (site_id INTEGER, name TEXT, PRIMARY KEY (site_id, name)) "
            "WITHOUT ROWID"
        )
        connection.execute("INSERT INTO shelves VALUES (?, 'top'), (99, 'top')", (first.id,))
    deleted(database, first)
    with closing(database.connect()) as connection:
        assert connection.execute("SELECT site_id FROM shelves").fetchall() == [(99,)]


def test_writing_to_it_meanwhile_ends_in_an_error_and_not_in_rows_of_nobody(
    house: tuple[Database, Site, Site],
) -> None:
    database, first, _ = house
    deleted(database, first)
    with (
        closing(database.connect()) as connection,
        pytest.raises(Exception, match=r"(?i)foreign key"),
    ):
        write(connection, first, "battery", {MONDAY_MS: {"power": 1.0}})
