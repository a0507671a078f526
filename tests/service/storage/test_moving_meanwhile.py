"""What comes, goes or is damaged while a site is being moved."""

from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import psycopg
import pytest

from joulebook.errors import DataRefusedError, UnavailableError, UsageError
from joulebook.storage import moving
from joulebook.storage.audit import audit_log
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Database
from joulebook.storage.moving import move_site
from joulebook.storage.moving_finish import late_units
from joulebook.storage.moving_pairs import paired
from joulebook.storage.moving_sides import Side
from joulebook.storage.seal_links import link_unlinked
from joulebook.storage.sealing import seal
from tests.helpers.databases import write
from tests.helpers.moved_sites import NAME, names
from tests.helpers.postgres import PostgresServer
from tests.helpers.sealed import DAY_MS, LATER_MS, MONDAY_MS, MUCH_LATER_MS
from tests.helpers.seen_sites import seen

NOW_MS = MUCH_LATER_MS


def test_what_comes_while_it_is_copied_is_copied_by_another_pass(
    house: Database, target: Database
) -> None:
    site = site_named(house, NAME)

    def also_written(done: int, _total: int) -> None:
        if done == 4:  # a device that nobody knew, and a late reading of a week that is done
            with closing(house.connect()) as connection:
                write(connection, site, "meter", {MONDAY_MS + 9 * DAY_MS: {"power": 1.0}})
                write(connection, site, "battery", {MONDAY_MS + 5: {"power": 2.0}})

    moved = move_site(house, target, NAME, now_ms=NOW_MS, progress=also_written)
    assert moved.passes == 2
    assert seen(target) == seen(house)


def test_a_series_that_comes_while_its_week_is_copied_is_for_the_next_pass(
    house: Database, target: Database
) -> None:
    site = site_named(house, NAME)
    added: list[int] = []

    def also_sealed(done: int, _total: int) -> None:
        if done == 1 and not added:
            added.append(done)
            with closing(house.connect()) as connection:
                late = {MONDAY_MS + 8 * DAY_MS: {"warmth": 20.0}}
                write(connection, site, "battery", late)
                seal(connection, NOW_MS)

    moved = move_site(house, target, NAME, now_ms=NOW_MS, progress=also_sealed)
    assert moved.passes == 2
    assert seen(target) == seen(house)


def test_a_device_that_comes_while_the_chain_is_copied_is_for_the_next_pass(
    house: Database, target: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    site = site_named(house, NAME)

    def also_sealed(*given: Any, **more: Any) -> Side:
        side = paired(*given, **more)
        with closing(house.connect()) as connection:
            write(connection, site, "meter", {MONDAY_MS: {"power": 1.0}})
            seal(connection, NOW_MS)
        return side

    monkeypatch.setattr(moving, "paired", also_sealed)
    moved = move_site(house, target, NAME, now_ms=NOW_MS)
    assert moved.passes == 2
    assert seen(target) == seen(house)


def test_a_row_of_nothing_that_is_there_is_named(house: Database, target: Database) -> None:
    with closing(house.connect()) as connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        connection.execute("UPDATE seal_links SET device_id = 99 WHERE number = 1")
    with pytest.raises(DataRefusedError, match="a row refers to what is not there: device_id 99"):
        move_site(house, target, NAME, now_ms=NOW_MS)


def test_a_sealer_at_the_target_adds_nothing_to_the_chain_of_a_copy(
    house: Database, target: Database
) -> None:
    before = seen(house)

    def also_linked(_done: int, _total: int) -> None:
        with closing(target.connect()) as connection:
            seal(connection, NOW_MS)
            assert link_unlinked(connection, NOW_MS, between=lambda: True) == 0

    move_site(house, target, NAME, now_ms=NOW_MS, progress=also_linked)
    assert seen(target) == before


def test_a_source_that_never_rests_is_named_and_nothing_is_shown(
    house: Database, target: Database
) -> None:
    site = site_named(house, NAME)
    at_ms = iter(range(LATER_MS, LATER_MS + 10_000))

    def written(done: int, total: int) -> None:
        if done == total:
            with closing(house.connect()) as connection:
                write(connection, site, "battery", {next(at_ms): {"power": 2.0}})

    with pytest.raises(UnavailableError, match=r"changes while it is copied: readings of battery"):
        move_site(house, target, NAME, now_ms=NOW_MS, progress=written)
    assert NAME not in names(target)
    assert move_site(house, target, NAME, now_ms=NOW_MS).passes == 1


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE blocks SET data = x'00'",
        "UPDATE quarters SET data = x'00'",
        "UPDATE quarters SET data = (SELECT data FROM quarters AS other "
        "WHERE other.device_id <> quarters.device_id AND other.start_ms = quarters.start_ms)",
    ],
)
def test_damage_at_the_source_is_named_and_nothing_is_moved(
    statement: str, house: Database, target: Database
) -> None:
    with closing(house.connect()) as connection:
        connection.execute(statement)
    with pytest.raises(DataRefusedError, match="this cannot be moved, it is damaged"):
        move_site(house, target, NAME, now_ms=NOW_MS)
    assert NAME not in names(target)


def test_a_name_that_is_taken_meanwhile_and_a_secret_that_is_there_are_refused(
    house: Database, target: Database
) -> None:
    def taken(done: int, total: int) -> None:
        if done == total:
            add_site(target, NAME, "UTC")

    with pytest.raises(UsageError, match="was added to the target meanwhile"):
        move_site(house, target, NAME, now_ms=NOW_MS, progress=taken)
    with closing(target.connect()) as connection:
        connection.execute("UPDATE sites SET name = 'barn' WHERE name = ?", (NAME,))
        with closing(house.connect()) as there:
            secret = there.execute("SELECT secret_sha256 FROM tokens").fetchone()
        connection.execute("UPDATE tokens SET secret_sha256 = ?", secret)
    with pytest.raises(DataRefusedError, match="opens something at the target already"):
        move_site(house, target, NAME, now_ms=NOW_MS)
    assert NAME not in names(target)


def test_the_target_notes_from_where_it_came_and_has_its_log(
    house: Database, target: Database
) -> None:
    move_site(house, target, NAME, now_ms=NOW_MS)
    with closing(target.connect()) as connection:
        newest = audit_log(connection)[0]
        assert (newest.action, newest.site) == ("move site", None)
        assert newest.detail == f"{NAME} from {house.where}"
        assert [line.action for line in audit_log(connection, site=NAME)] == ["add event"]


def test_an_empty_site_moves_too(target: Database, tmp_path: Path) -> None:
    bare = Database.open(tmp_path / "bare")
    add_site(bare, "hut", "UTC")
    moved = move_site(bare, target, "hut", now_ms=NOW_MS)
    assert (moved.readings, moved.waiting) == (0, 0)
    assert names(target) == ["annex", "hut"]


@pytest.mark.outside
def test_a_server_that_goes_away_in_the_middle_is_found_again_by_the_next_run(
    house: Database, postgres: PostgresServer, tmp_path: Path
) -> None:
    place = postgres.place()
    name = place.url.rsplit("/", 1)[1]
    target = Database.open(tmp_path / "beside", replace(place, wait_s=1.0))

    def let_in(*, anybody: bool) -> None:
        with psycopg.connect(postgres.url("postgres"), autocommit=True) as connection:
            connection.execute(f"ALTER DATABASE {name} ALLOW_CONNECTIONS {anybody}")
            if not anybody:
                connection.execute(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s",
                    (name,),
                )

    def away(done: int, _total: int) -> None:
        if done == 3:
            let_in(anybody=False)

    with pytest.raises(UnavailableError):
        move_site(house, target, NAME, now_ms=NOW_MS, progress=away)
    let_in(anybody=True)
    moved = move_site(house, target, NAME, now_ms=NOW_MS)
    assert 0 < moved.written <= moved.compared - len(late_units()) - 3
    assert seen(target) == seen(house)
    target.close()
