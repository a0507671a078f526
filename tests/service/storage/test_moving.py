"""A site moved from file to server, back, and to another file: all of it, and seen last.

What is at the target is looked at by what everybody reads with, and by `verify`.
"""

from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import psycopg
import pytest

from joulebook.errors import DataRefusedError, UnavailableError, UsageError
from joulebook.storage import moving
from joulebook.storage.audit import audit_log
from joulebook.storage.catalogue import add_site, site_named, sites
from joulebook.storage.database import Database
from joulebook.storage.deliveries import deliveries_of, due_deliveries
from joulebook.storage.home_inputs import home_inputs
from joulebook.storage.home_lines import home_places, lines_stamp
from joulebook.storage.lock import only_mover
from joulebook.storage.moving import MoveDiffersError, SiteThereError, move_site
from joulebook.storage.moving_comparing import compare, early_units
from joulebook.storage.moving_finish import late_units
from joulebook.storage.moving_pairs import paired
from joulebook.storage.moving_rows import HELD
from joulebook.storage.moving_sides import Side, the_side
from joulebook.storage.moving_source import end_source, give_up
from joulebook.storage.moving_units import Rows
from joulebook.storage.people import people
from joulebook.storage.quarantine import put_aside, set_aside
from joulebook.storage.quick_look import quick_look
from joulebook.storage.seal_links import link_unlinked, links_of
from joulebook.storage.sealing import seal
from joulebook.storage.verify import verify
from tests.helpers.databases import write
from tests.helpers.moved_sites import NAME, refused_message, shifted
from tests.helpers.postgres import PostgresServer
from tests.helpers.sealed import DAY_MS, LATER_MS, MONDAY_MS, MUCH_LATER_MS, power
from tests.helpers.seen_sites import seen

NOW_MS = MUCH_LATER_MS


@pytest.fixture
def on_server(postgres: PostgresServer, tmp_path: Path) -> Iterator[Database]:
    database = shifted(Database.open(tmp_path / "beside", postgres.place()))
    yield database
    database.close()


def names(database: Database) -> list[str]:
    return [site.name for site in sites(database)]


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


class CutError(Exception):
    """Ends a run in the middle."""


def cut_after(pieces: int) -> Callable[[int, int], None]:
    def progress(done: int, _total: int) -> None:
        if done == pieces:
            raise CutError

    return progress


def test_what_is_not_whole_is_in_no_list_and_is_made_whole_by_the_next_run(
    house: Database, target: Database
) -> None:
    for pieces in (1, 3):
        with pytest.raises(CutError):
            move_site(house, target, NAME, now_ms=NOW_MS, progress=cut_after(pieces))
        assert names(target) == ["annex"]
        assert [site.name for site in quick_look(target).sites] == ["annex"]
        with closing(target.connect()) as connection:
            assert [home.name for home in home_inputs(connection, "silence")] == ["annex"]
            assert [home.name for home in home_places(connection)] == ["annex"]
            assert lines_stamp(connection)[2] == 1
            for table in ("tokens", "alert_rules", "record_marks", "dirty_days"):
                found = connection.execute(f"SELECT 1 FROM {table} WHERE site_id = 2")
                assert found.fetchone() is None
            # The sealer there finds nothing to do, and adds nothing to the chain.
            seal(connection, NOW_MS)
    with closing(house.connect()) as there, closing(target.connect()) as here:
        whole = len(early_units(the_side(there, NAME), the_side(here, f"~{NAME}")))
    moved = move_site(house, target, NAME, now_ms=NOW_MS)
    assert moved.written == whole - 3
    assert seen(target) == seen(house)


def test_what_the_source_let_go_meanwhile_goes_from_the_copy_too(
    house: Database, target: Database
) -> None:
    def all_there(done: int, total: int) -> None:
        if done == total:
            raise CutError

    with pytest.raises(CutError):
        move_site(house, target, NAME, now_ms=NOW_MS, progress=all_there)
    with closing(house.connect()) as connection:
        for table in ("quarters", "blocks"):
            connection.execute(f"DELETE FROM {table} WHERE start_ms < ?", (MONDAY_MS + DAY_MS,))
    move_site(house, target, NAME, now_ms=NOW_MS)
    assert seen(target) == seen(house)
    with closing(target.connect()) as connection:
        assert connection.execute("SELECT min(start_ms) FROM quarters").fetchone() == (None,)


def test_an_unfinished_move_is_given_up(house: Database, target: Database) -> None:
    with pytest.raises(CutError):
        move_site(house, target, NAME, now_ms=NOW_MS, progress=cut_after(2))
    assert give_up(target, NAME, now_ms=NOW_MS) > 10
    with pytest.raises(UsageError, match="there is no site '~studio'"):
        give_up(target, NAME, now_ms=NOW_MS)
    add_site(target, NAME, "UTC")


def test_what_another_house_left_unfinished_is_not_mixed_with_this_one(
    house: Database, target: Database, tmp_path: Path
) -> None:
    other = Database.open(tmp_path / "other")
    site = add_site(other, NAME, "UTC")
    with closing(other.connect()) as connection:
        write(connection, site, "boiler", {MONDAY_MS: {"power": 1.0}})
    with pytest.raises(CutError):
        move_site(other, target, NAME, now_ms=NOW_MS, progress=cut_after(1))
    move_site(house, target, NAME, now_ms=NOW_MS)
    assert seen(target) == seen(house)


def planted(monkeypatch: pytest.MonkeyPatch, database: Database, *statements: str) -> None:
    """Change the target between the copy and the comparison."""

    def changed(*given: Any) -> None:
        with closing(database.connect()) as connection:
            for statement in statements:
                connection.execute(statement)
        compare(*given)

    monkeypatch.setattr(moving, "compare", changed)


@pytest.mark.parametrize(
    ("statement", "where"),
    [
        (
            "UPDATE readings SET v0 = 1.5 WHERE at_ms = (SELECT max(at_ms) FROM readings)",
            "readings of battery, week from 2026-03-09, power (hot): differs",
        ),
        (
            "DELETE FROM readings WHERE at_ms = (SELECT max(at_ms) FROM readings)",
            "readings of battery, week from 2026-03-09, power (hot): differs",
        ),
        (
            "DELETE FROM blocks WHERE device_id = (SELECT id FROM devices WHERE name = 'battery')",
            "readings of battery, week from 2026-03-02, power (sealed): not there",
        ),
        (
            "UPDATE blocks SET data = x'00'",
            "readings of battery, week from 2026-03-02, power (sealed): not there",
        ),
        (
            "UPDATE day_results SET result = x'00' WHERE day = '2026-03-04'",
            "day_results, row 4 (2026-03-04): differs",
        ),
        (
            "UPDATE quarters SET method = 'other'",
            "quarter hours of battery, month from 2026-03-01, method: differs",
        ),
        (
            "DELETE FROM quarters",
            "quarter hours of battery, month from 2026-03-01, method: not there",
        ),
        (
            "UPDATE seal_links SET hash = x'00' WHERE number = 2 AND site_id = 2",
            "seal_links, row 2",
        ),
        ("UPDATE sites SET battery_ah = 1.0 WHERE name = '~studio'", "fact battery_ah: differs"),
    ],
)
def test_a_planted_difference_is_named_nothing_is_shown_and_the_next_run_mends_it(
    statement: str,
    where: str,
    house: Database,
    target: Database,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    planted(monkeypatch, target, statement)
    with pytest.raises(MoveDiffersError) as differs:
        move_site(house, target, NAME, now_ms=NOW_MS)
    assert any(found.startswith(where) for found in differs.value.differences)
    assert differs.value.exit_status == 4
    assert NAME not in names(target)
    monkeypatch.undo()
    move_site(house, target, NAME, now_ms=NOW_MS)
    assert seen(target) == seen(house)


def test_what_differs_at_the_very_end_is_not_shown_either(
    house: Database, target: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_rows = Rows.write

    def wrong(unit: Rows, side: Side, content: Any) -> None:
        write_rows(unit, side, content[1:] if unit.name == "events" else content)

    monkeypatch.setattr(Rows, "write", wrong)
    with pytest.raises(DataRefusedError, match=r"events, row 1 .*: not there"):
        move_site(house, target, NAME, now_ms=NOW_MS)
    assert NAME not in names(target)


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
