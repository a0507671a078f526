from datetime import date

import pytest

from joulebook.storage.alert_settings import RuleSetting, set_rules
from joulebook.storage.alerts import close_episodes, open_episode
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database, transaction
from joulebook.storage.home_inputs import HomeInput, OpenAlert, home_inputs
from joulebook.storage.home_lines import save_numbers, save_told
from joulebook.storage.record_results import Stamp, save_record_result
from joulebook.storage.records import Site
from joulebook.storage.sign_offs import add_sign_off
from tests.helpers.databases import write

NOW_MS = 1_772_366_400_000


def inputs(connection: Connection) -> dict[str, HomeInput]:
    return {each.name: each for each in home_inputs(connection, "bridge-silent")}


def test_a_home_of_which_nothing_is_known(connection: Connection, site: Site) -> None:
    assert inputs(connection) == {
        "studio": HomeInput(
            site_id=site.id,
            name="studio",
            said=(False, False),
            record=None,
            checks=None,
            newest_ms=None,
            silence=None,
            alerts=(),
            signed=False,
            numbers_of=None,
            made_of=None,
        )
    }


def test_all_that_there_is_of_a_home(database: Database, connection: Connection) -> None:
    barn = add_site(
        database,
        "barn",
        "Europe/Lisbon",
        battery_ah=200.0,
        installed=date(2025, 1, 1),
        warranty_years=10.0,
        warranty_floor_ratio=0.7,
    )
    write(connection, barn, "battery", {NOW_MS: {"power": 1.0}, NOW_MS - 5: {"power": 2.0}})
    for name, mark in (("record", 4), ("checks", 5), ("wear", 6)):
        save_record_result(
            *(connection, barn.id, name, "m", b""), mark=mark, computed_ms=NOW_MS + mark
        )
    set_rules(connection, barn, {"bridge-silent": RuleSetting(is_on=True, opens_at=120.0)})
    add_sign_off(*(connection, barn, {}), at_ms=NOW_MS, who="Ada", name="Ada", role="owner")
    save_numbers(connection, [(barn.id, b"", "of")], now_ms=NOW_MS)
    save_told(connection, [(barn.id, 1, (), b"", "made")], NOW_MS)
    found = inputs(connection)["barn"]
    assert found.said == (True, True)
    assert (found.record, found.checks) == (Stamp(4, NOW_MS + 4), Stamp(5, NOW_MS + 5))
    assert (found.newest_ms, found.silence, found.signed) == (NOW_MS, (True, 120.0), True)
    assert (found.numbers_of, found.made_of) == ("of", "made")


def test_alerts_that_are_open_in_the_order_in_which_they_opened(
    connection: Connection, site: Site
) -> None:
    with transaction(connection):
        for at_ms, rule in ((NOW_MS, "legs"), (NOW_MS - 9, "gap"), (NOW_MS - 20, "lugs")):
            open_episode(
                *(connection, site.id, rule, ""), at_ms=at_ms, value=1.0, sentence=f"of {rule}"
            )
        close_episodes(connection, site.id, "lugs", "", at_ms=NOW_MS)
    assert inputs(connection)["studio"].alerts == (
        OpenAlert("gap", NOW_MS - 9, "of gap"),
        OpenAlert("legs", NOW_MS, "of legs"),
    )


@pytest.mark.on_a_file
def test_open_alerts_are_found_without_a_look_at_those_that_closed(
    database: Database, connection: Connection
) -> None:
    assert database is not None
    found = connection.execute(
        "EXPLAIN QUERY PLAN SELECT site_id FROM alert_episodes WHERE closed_ms IS NULL"
    ).fetchall()
    assert "ix_alert_episodes_open" in str(found)
