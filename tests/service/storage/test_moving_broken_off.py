"""A move that was broken off or met a difference: nothing is seen, the next run mends it."""

from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest

from joulebook.errors import DataRefusedError, UsageError
from joulebook.storage import moving
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Database
from joulebook.storage.home_inputs import home_inputs
from joulebook.storage.home_lines import home_places, lines_stamp
from joulebook.storage.moving import MoveDiffersError, move_site
from joulebook.storage.moving_comparing import compare, early_units
from joulebook.storage.moving_sides import Side, the_side
from joulebook.storage.moving_source import give_up
from joulebook.storage.moving_units import Rows
from joulebook.storage.quick_look import quick_look
from joulebook.storage.sealing import seal
from tests.helpers.databases import write
from tests.helpers.moved_sites import NAME, names
from tests.helpers.sealed import DAY_MS, MONDAY_MS, MUCH_LATER_MS
from tests.helpers.seen_sites import seen

NOW_MS = MUCH_LATER_MS


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
