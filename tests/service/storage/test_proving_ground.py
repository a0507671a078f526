"""A database that is measured with: how large it is, how it writes, and whether it is empty."""

from contextlib import closing
from pathlib import Path

import pytest

from joulebook.errors import UsageError
from joulebook.storage.database import Connection, Database, ServerPlace
from joulebook.storage.proving_ground import (
    drop_everything,
    log_bytes,
    require_empty,
    shrink_whole,
    tidy,
    told_of_store,
    used_bytes,
)
from joulebook.storage.records import Site
from tests.helpers.databases import NOON_MS, write
from tests.helpers.postgres import PostgresServer


def test_rows_take_room_and_a_servers_log(connection: Connection, site: Site) -> None:
    before, logged = used_bytes(connection), log_bytes(connection)
    rows = {NOON_MS + number * 1000: {"power": float(number)} for number in range(2000)}
    write(connection, site, "battery", rows)
    # Two thousand rows of an instant and a number: 16 bytes each at least.
    assert used_bytes(connection) - before > 32_000
    after = log_bytes(connection)
    assert (logged is None) == (after is None)
    if logged is not None and after is not None:
        assert after - logged > 32_000


def test_tidying_takes_no_reading_away(connection: Connection, site: Site) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    tidy(connection)
    shrink_whole(connection)
    assert connection.execute("SELECT count(*) FROM readings").fetchone() == (1,)


def test_a_store_says_how_its_commits_reach_the_disk(connection: Connection) -> None:
    told = told_of_store(connection)
    if told["store"] == "SQLite file":
        assert told["synchronous"] == "FULL"
    else:
        # As the server of these tests is set up, and as each of our connections asks for.
        assert (told["fsync"], told["synchronous_commit"]) == ("off", "on")


@pytest.mark.outside
def test_what_was_made_in_an_empty_database_is_taken_away_again(
    postgres: PostgresServer, tmp_path: Path
) -> None:
    place = ServerPlace(url=postgres.empty_database())
    require_empty(tmp_path, place)
    for _ in range(2):  # and it can be used again
        with closing(Database.open(tmp_path, place)) as database:
            with pytest.raises(UsageError, match=r"not empty: it has \d+ tables, alembic"):
                require_empty(tmp_path, place)
            for _ in range(2):  # the second time there is nothing to be taken away
                drop_everything(database)
        require_empty(tmp_path, place)
