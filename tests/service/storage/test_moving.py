"""A site moved from file to server, back, and to another file: all of it, and seen last.

What is at the target is looked at by what everybody reads with, and by `verify`.
"""

from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.errors import UnavailableError, UsageError
from joulebook.storage.catalogue import add_site, site_named, sites
from joulebook.storage.database import Database
from joulebook.storage.deliveries import deliveries_of, due_deliveries
from joulebook.storage.lock import only_mover
from joulebook.storage.moving import SiteThereError, move_site
from joulebook.storage.moving_rows import HELD
from joulebook.storage.moving_source import end_source
from joulebook.storage.people import people
from joulebook.storage.quarantine import put_aside, set_aside
from joulebook.storage.seal_links import links_of
from joulebook.storage.sealing import seal
from joulebook.storage.verify import verify
from tests.helpers.databases import write
from tests.helpers.moved_sites import NAME, names, refused_message, shifted
from tests.helpers.postgres import PostgresServer
from tests.helpers.sealed import DAY_MS, MONDAY_MS, MUCH_LATER_MS, power
from tests.helpers.seen_sites import seen

NOW_MS = MUCH_LATER_MS


@pytest.fixture
def on_server(postgres: PostgresServer, tmp_path: Path) -> Iterator[Database]:
    database = shifted(Database.open(tmp_path / "beside", postgres.place()))
    yield database
    database.close()


def no_fault(_method: str, _result: bytes) -> None:
    return None


def test_all_of_it_goes_to_a_file_and_verify_accepts_it(house: Database, target: Database) -> None:
    before = seen(house)
    moved = move_site(house, target, NAME, now_ms=NOW_MS)
    assert seen(target) == before == seen(house)
    assert len(before["quarters"]["battery"]) == 2
    assert len(before["links"]) >= 6
    # By hand: 9 days of 24 rows of two, 9 of state and fan, one of power; noon's, one late.
    assert moved.readings == 9 * 24 * 2 + 9 * 2 + 1 + 1 + 1
    assert (moved.already, moved.passes, moved.waiting) == (False, 1, 2)
    assert moved.roles == (("Ana", "owner"), ("Rui", "viewer"))
    findings = verify(target, result_fault=no_fault)
    assert findings.damage == []
    assert findings.checked["links"] == len(before["links"])
    assert findings.checked["rows"] > 48  # those of the annex are there too


@pytest.mark.outside
def test_all_of_it_goes_to_a_server_and_back(
    house: Database, on_server: Database, tmp_path: Path
) -> None:
    before = seen(house)
    move_site(house, on_server, NAME, now_ms=NOW_MS)
    assert seen(on_server) == before
    assert verify(on_server, result_fault=no_fault).damage == []
    home = Database.open(tmp_path / "home")
    move_site(on_server, home, NAME, now_ms=NOW_MS)
    assert seen(home) == before
    # Once more, and from the first house: both know that it is there, to the last row.
    assert move_site(on_server, home, NAME, now_ms=NOW_MS).already
    assert move_site(house, home, NAME, now_ms=NOW_MS).already
    with pytest.raises(UsageError, match="both sides are one database"):
        move_site(on_server, on_server, NAME, now_ms=NOW_MS)
    home.close()


def test_the_source_is_only_read(house: Database, target: Database) -> None:
    with closing(house.connect()) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        before = house.path.read_bytes()
        move_site(house, target, NAME, now_ms=NOW_MS)
        assert house.path.read_bytes() == before
        log = house.path.with_name(f"{house.path.name}-wal")
        assert log.stat().st_size == 0


def test_marks_ids_and_digests_are_of_the_target(house: Database, target: Database) -> None:
    move_site(house, target, NAME, now_ms=NOW_MS)
    site = site_named(target, NAME)
    with closing(target.connect()) as connection:
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        # A repeat of what was set aside is known, though its digest is of the site's number.
        before = set_aside(connection, site.id)
        assert put_aside(connection, [refused_message(site, 4)]) == 0
        assert set_aside(connection, site.id) == before
        (last,) = connection.execute("SELECT last_mark FROM markings").fetchone()
        for table in ("dirty_days", "dirty_quarters", "hot_days", "record_marks"):
            (most,) = connection.execute(f"SELECT max(mark) FROM {table}").fetchone()
            assert 0 < most <= last
        # What is sealed there later goes on with the same chain.
        links = list(links_of(connection, site.id))
        seal(connection, NOW_MS)
        more = list(links_of(connection, site.id))
        assert more[: len(links)] == links
        assert len(more) > len(links)
    assert verify(target, result_fault=no_fault).damage == []


def test_rights_are_given_by_no_name_alone(house: Database, target: Database) -> None:
    moved = move_site(house, target, NAME, now_ms=NOW_MS, same_people=["Ana"])
    site = site_named(target, NAME)
    with closing(target.connect()) as connection:
        assert [(one.name, one.at) for one in people(connection)] == [("Ana", {site.id: "owner"})]
    assert moved.roles == (("Rui", "viewer"),)


@pytest.mark.parametrize("who", ["Nobody", "Rui"])
def test_who_is_not_at_both_ends_is_refused_before_anything_is_seen(
    who: str, house: Database, target: Database
) -> None:
    with pytest.raises(UsageError):
        move_site(house, target, NAME, now_ms=NOW_MS, same_people=[who])
    assert NAME not in names(target)
    assert not move_site(house, target, NAME, now_ms=NOW_MS).already


def test_what_waits_to_be_told_is_not_told_twice(house: Database, target: Database) -> None:
    moved = move_site(house, target, NAME, now_ms=NOW_MS)
    with closing(target.connect()) as connection, closing(house.connect()) as there:
        assert due_deliveries(connection, now_ms=NOW_MS, most=9) == []
        told = deliveries_of(connection, site_named(target, NAME).id)
        assert [(one.state, one.trouble) for one in told] == [
            *[("delivered", ""), ("unknown", HELD), ("unknown", HELD)]
        ]
        # The episode has another number here, and one that is gone has none.
        (opened,) = connection.execute(
            "SELECT max(id) FROM alert_episodes WHERE site_id = ?",
            (site_named(target, NAME).id,),
        ).fetchone()
        assert [one.told.about for one in told[1:]] == [
            *["earlier episode 77 closed", f"episode {opened} opened"]
        ]
        waiting = due_deliveries(there, now_ms=NOW_MS, most=9)
        assert [one.told.about for one in waiting] == ["episode 2 opened", "episode 77 closed"]
    rows = end_source(house, target, NAME, moved.stamp, who="Ana", now_ms=NOW_MS)
    assert rows > 100
    assert sites(house) == []
    with closing(target.connect()) as connection:
        waiting = due_deliveries(connection, now_ms=NOW_MS, most=9)
        assert [one.told.about for one in waiting] == [
            *[f"episode {opened} opened", "earlier episode 77 closed"]
        ]


def test_a_source_that_changed_after_it_was_compared_is_not_deleted(
    house: Database, target: Database
) -> None:
    moved = move_site(house, target, NAME, now_ms=NOW_MS)
    with closing(house.connect()) as connection:
        late = {MONDAY_MS + 12 * DAY_MS: {"power": 3.0}}
        write(connection, site_named(house, NAME), "battery", late)
    with pytest.raises(UnavailableError, match="changed after it was compared"):
        end_source(house, target, NAME, moved.stamp, who="Ana", now_ms=NOW_MS)
    with closing(house.connect()) as connection:
        assert len(power(connection, site_named(house, NAME))) == 219
        assert connection.execute("SELECT count(*) FROM tokens").fetchone() == (1,)
    with pytest.raises(SiteThereError, match="has a site 'studio' already"):
        move_site(house, target, NAME, now_ms=NOW_MS)


def test_a_target_that_has_another_site_of_the_name_is_refused(
    house: Database, target: Database
) -> None:
    add_site(target, NAME, "UTC")
    with pytest.raises(SiteThereError) as refused:
        move_site(house, target, NAME, now_ms=NOW_MS)
    assert "fact timezone: differs" in refused.value.what
    assert len(sites(target)) == 2


def test_one_database_for_both_sides_and_a_site_that_is_not_there_are_refused(
    house: Database, target: Database
) -> None:
    with pytest.raises(UsageError, match="both sides are one database"):
        move_site(house, Database(house.data_dir), NAME, now_ms=NOW_MS)
    with pytest.raises(UsageError, match="there is no site 'barn'"):
        move_site(house, target, "barn", now_ms=NOW_MS)
    with pytest.raises(UsageError, match="cannot be the name"):
        move_site(house, target, "~studio", now_ms=NOW_MS)


def test_one_moves_into_a_directory_at_a_time(house: Database, target: Database) -> None:
    with (
        only_mover(target.data_dir),
        pytest.raises(UnavailableError, match="somebody else moves sites into this data directory"),
    ):
        move_site(house, target, NAME, now_ms=NOW_MS)
