"""A look at everything on a server finds what is not as it was written, and names it."""

import json
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.connections import ServerConnection, transaction
from joulebook.storage.database import Database
from joulebook.storage.findings import Findings
from joulebook.storage.quick_look import quick_look
from joulebook.storage.records import Column, Site, Value
from joulebook.storage.schema import newest_schema
from joulebook.storage.sealing import seal
from joulebook.storage.verify import verify
from joulebook.summaries.quarters import rebuild_quarters
from tests.helpers.databases import NOON_MS, write
from tests.helpers.sealed import DAY_MS

pytestmark = pytest.mark.outside

COLUMNS = (Column("power", "W"), Column("mode", "", "text"), Column("running", "", "flag"))


def looked_at(database: Database) -> Findings:
    def fault(_method: str, result: bytes) -> str | None:
        return None if result.startswith(b"{") else "no document"

    return verify(database, result_fault=fault)


@pytest.fixture
def filled(served: tuple[Database, Site], link: ServerConnection) -> Database:
    """Days of three quantities, the first two of them sealed; quarter hours and a result."""
    database, site = served
    rows: dict[int, dict[str, Value]] = {
        NOON_MS + at * DAY_MS // 10: {"power": at / 3, "mode": "float", "running": at % 2 == 0}
        for at in range(40)
    }
    rows[NOON_MS + DAY_MS * 39 // 10].pop("power")
    write(link, site, "inverter", rows, COLUMNS)
    seal(link, NOON_MS + 4 * DAY_MS)
    rebuild_quarters(database, site)
    link.execute(
        "INSERT INTO day_results VALUES (?, '2026-03-01', 'day-1', ?, 0)",
        (site.id, json.dumps({}).encode()),
    )
    return database


def test_a_sound_database_is_counted(filled: Database) -> None:
    findings = looked_at(filled)
    assert findings.damage == []
    checked = findings.checked
    assert "pages" not in checked
    assert {name: checked[name] for name in ("sites", "devices", "series")} == {
        "sites": 1,
        "devices": 1,
        "series": 3,
    }
    assert checked["rows"] + checked["sealed rows"] == 40
    assert checked["readings"] + checked["sealed readings"] == 3 * 40 - 1
    assert checked["rows"] > 0
    assert checked["blocks"] == checked["links"] > 0
    assert (checked["months of quarter hours"], checked["day results"]) == (1, 1)


@pytest.mark.parametrize(
    ("sql", "values", "told"),
    [
        (
            "UPDATE readings SET numbers[2] = 1, texts[1] = ? WHERE at_ms = ?",
            (b"x",),
            [
                "1 readings of studio/inverter.mode are no text",
                "1 readings of studio/inverter.power are no number",
            ],
        ),
        (
            "UPDATE readings SET numbers[3] = 2, texts[2] = ? WHERE at_ms = ?",
            (b"\xff",),
            [
                "1 readings of studio/inverter.running are no flag",
                "1 readings of studio/inverter.mode are no text",
            ],
        ),
        (
            "UPDATE readings SET numbers[8] = 2.5, texts[9] = ? WHERE at_ms = ?",
            (b"y",),
            [
                "1 readings of studio/inverter in v7 have no series",
                "1 readings of studio/inverter in v8 have no series",
            ],
        ),
        (
            "INSERT INTO readings (device_id, numbers, at_ms) VALUES (99, ?, ?)",
            ([1.0],),
            ["1 readings of device 99, which is not there in v0 have no series"],
        ),
    ],
)
def test_readings_that_cannot_be_are_counted(
    filled: Database,
    link: ServerConnection,
    sql: str,
    values: tuple[object, ...],
    told: list[str],
) -> None:
    link.execute(sql, (*values, NOON_MS + 39 * DAY_MS // 10))
    assert looked_at(filled).damage == told


@pytest.mark.parametrize(
    ("sql", "values", "told"),
    [
        ("UPDATE blocks SET data = ?", (b"\0",), "the checksum beside it is not that of its bytes"),
        ("UPDATE seal_links SET digest = ?", (bytes(32),), "are not those that were sealed"),
        ("UPDATE seal_links SET hash = ?", (bytes(32),), "does not follow from the links before"),
        ("UPDATE quarters SET data = ?", (b"\0",), "the quarter hours of studio/inverter, 2026-03"),
        ("UPDATE quarters SET start_ms = ?", (1 << 61,), f"{1 << 61} ms (UTC), which can be"),
        ("UPDATE day_results SET result = ?", (b"no",), "2026-03-01, cannot be read: no document"),
        ("UPDATE day_results SET day = ?", ("then",), "cannot be read: dated 'then'"),
    ],
)
def test_what_was_changed_is_named(
    filled: Database,
    link: ServerConnection,
    sql: str,
    values: tuple[object, ...],
    told: str,
) -> None:
    link.execute(sql, values)
    damage = looked_at(filled).damage
    assert any(told in sentence for sentence in damage), damage


def test_a_row_whose_parent_is_gone_is_named(filled: Database, link: ServerConnection) -> None:
    with transaction(link):
        link.execute("SET LOCAL session_replication_role = replica")  # no reference is checked
        link.execute("UPDATE devices SET site_id = 7")
    told = looked_at(filled).damage
    assert "a row of devices refers to a row of sites that is not there" in told


def test_it_waits_for_no_writer_and_holds_none_up(filled: Database, link: ServerConnection) -> None:
    with transaction(link):
        link.execute("DELETE FROM readings")
        assert looked_at(filled).checked["rows"] > 0


def test_a_glance_tells_the_server_and_its_schema(filled: Database, tmp_path: Path) -> None:
    seen = quick_look(filled)
    assert seen.store.startswith("PostgreSQL ")
    assert (seen.sentences, seen.schema, seen.outdated) == ((), newest_schema(), False)
    assert [(site.name, site.first_ms) for site in seen.sites] == [("studio", NOON_MS)]
    with closing(Database.open(tmp_path / "file")) as file:
        assert quick_look(file).store == "SQLite"
