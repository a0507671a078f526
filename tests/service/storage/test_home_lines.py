from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.home_lines import (
    HomeLine,
    HomeNumbers,
    HomePlace,
    all_numbers,
    home_lines,
    home_places,
    lines_stamp,
    numbers_of,
    save_numbers,
    save_peers,
    save_told,
)
from joulebook.storage.records import Site
from tests.helpers.databases import write

NOW_MS = 1_772_366_400_000


def test_a_home_s_line_is_kept_and_read_back(connection: Connection, site: Site) -> None:
    save_numbers(connection, [(site.id, b"n", "record 1")], now_ms=NOW_MS)
    assert all_numbers(connection) == [HomeNumbers(site.id, b"n", None)]
    save_peers(connection, [(site.id, b"p")])
    save_told(connection, [(site.id, 20_005, ("alert", "checks"), b"t", "m")], NOW_MS + 1)
    line = HomeLine(
        site_id=site.id, numbers=b"n", peers=b"p", told=b"t", made_ms=NOW_MS + 1, heard_ms=None
    )
    assert home_lines(connection, [site.id]) == {site.id: line}
    assert numbers_of(connection, [site.id]) == {site.id: HomeNumbers(site.id, b"n", b"p")}
    assert home_places(connection) == [HomePlace(site.id, "studio", ("alert", "checks"), True)]


def test_newer_numbers_leave_what_is_told_until_it_is_made_anew(
    connection: Connection, site: Site
) -> None:
    save_numbers(connection, [(site.id, b"n", "record 1")], now_ms=NOW_MS)
    save_told(connection, [(site.id, 0, ("danger",), b"t", "m")], NOW_MS)
    save_numbers(connection, [(site.id, b"newer", "record 2")], now_ms=NOW_MS)
    line = home_lines(connection, [site.id])[site.id]
    assert (line.numbers, line.told) == (b"newer", b"t")
    row = connection.execute("SELECT numbers_of, made_of FROM home_lines").fetchone()
    assert tuple(row) == ("record 2", "")


def test_the_gravest_come_first_then_by_name_and_new_homes_last(
    database: Database, connection: Connection, site: Site
) -> None:
    names = ("barn", "annexe", "mill", "kiln")
    barn, annexe, mill, kiln = (add_site(database, name, "Europe/Lisbon") for name in names)
    save_numbers(
        connection, [(each.id, b"", "") for each in (site, barn, annexe, mill)], now_ms=NOW_MS
    )
    told = [(site.id, 500, ("checks",)), (barn.id, 500, ("checks",)), (annexe.id, 900, ())]
    save_told(connection, [(*each, b"", "") for each in told], NOW_MS)
    places = home_places(connection)
    assert [each.name for each in places] == ["barn", "studio", "annexe", "kiln", "mill"]
    assert [each.told_yet for each in places] == [True, True, True, False, False]
    assert {places[3].site_id, places[4].site_id} == {kiln.id, mill.id}


def test_a_gravity_of_nothing_is_the_gravest(connection: Connection, site: Site) -> None:
    save_numbers(connection, [(site.id, b"", "")], now_ms=NOW_MS)
    save_told(connection, [(site.id, 0, ("danger",), b"", "")], NOW_MS)
    assert home_places(connection) == [HomePlace(site.id, "studio", ("danger",), True)]


def test_it_says_when_a_home_was_heard(
    database: Database, connection: Connection, site: Site
) -> None:
    barn = add_site(database, "barn", "Europe/Lisbon")
    write(connection, site, "battery", {NOW_MS: {"power": 1.0}, NOW_MS - 1: {"power": 2.0}})
    write(connection, site, "pv", {NOW_MS - 500: {"power": 1.0}})
    save_numbers(connection, [(each.id, b"", "") for each in (site, barn)], now_ms=NOW_MS)
    heard = {key: each.heard_ms for key, each in home_lines(connection, [site.id, barn.id]).items()}
    assert heard == {site.id: NOW_MS, barn.id: None}


def test_more_homes_are_read_than_one_statement_asks_for(
    database: Database, connection: Connection
) -> None:
    there = [add_site(database, f"home-{n}", "Europe/Lisbon").id for n in range(53)]
    save_numbers(connection, [(each, str(each).encode(), "") for each in there], now_ms=NOW_MS)
    found = home_lines(connection, there)
    assert {each: line.numbers for each, line in found.items()} == {
        each: str(each).encode() for each in there
    }
    assert list(numbers_of(connection, there[:2])) == there[:2]
    assert home_lines(connection, []) == {}


def test_a_site_that_is_gone_is_passed_over(connection: Connection, site: Site) -> None:
    save_numbers(connection, [(site.id, b"", ""), (site.id + 99, b"", "")], now_ms=NOW_MS)
    save_peers(connection, [(site.id + 99, b"")])
    save_told(connection, [(site.id + 99, 1, (), b"", "")], NOW_MS)
    assert [each.site_id for each in all_numbers(connection)] == [site.id]


def test_every_change_moves_the_stamp(
    database: Database, connection: Connection, site: Site
) -> None:
    stamps = [lines_stamp(connection)]
    save_numbers(connection, [(site.id, b"", "")], now_ms=NOW_MS)
    stamps.append(lines_stamp(connection))
    save_peers(connection, [(site.id, b"")])
    stamps.append(lines_stamp(connection))
    save_told(connection, [(site.id, 1, (), b"", "")], NOW_MS)
    stamps.append(lines_stamp(connection))
    add_site(database, "barn", "Europe/Lisbon")
    stamps.append(lines_stamp(connection))
    assert len(set(stamps)) == 5
    assert stamps[0] == (0, 0, 1)
