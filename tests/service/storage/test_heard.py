from joulebook.core.spans import Span
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database, transaction
from joulebook.storage.heard import heard_spans
from joulebook.storage.periods import DAY_MS
from joulebook.storage.records import Site
from joulebook.storage.sealing import seal
from joulebook.storage.series import SeriesRegister
from tests.helpers.databases import NOON_MS, write


def test_each_device_is_heard_from_its_first_reading_to_its_last(
    connection: Connection, site: Site
) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}, NOON_MS + 5000: {"power": 2.0}})
    write(connection, site, "grid", {NOON_MS - 7: {"power": 1.0}})
    assert heard_spans(connection, site.id) == {
        "battery": Span(NOON_MS, NOON_MS + 5001),
        "grid": Span(NOON_MS - 7, NOON_MS - 6),
    }


def test_sealed_readings_count_and_late_ones_before_them(
    connection: Connection, site: Site
) -> None:
    write(connection, site, "battery", {NOON_MS: {"power": 1.0}})
    seal(connection, NOON_MS + 10 * DAY_MS)
    assert heard_spans(connection, site.id) == {"battery": Span(NOON_MS, NOON_MS + 1)}
    write(connection, site, "battery", {NOON_MS - DAY_MS: {"power": 2.0}})
    assert heard_spans(connection, site.id) == {"battery": Span(NOON_MS - DAY_MS, NOON_MS + 1)}


def test_a_device_without_readings_is_not_among_them(
    database: Database, connection: Connection, site: Site
) -> None:
    with transaction(connection):
        SeriesRegister().device_id(connection, site.id, "grid")
    write(connection, add_site(database, "annexe", "UTC"), "pv", {NOON_MS: {"power": 1.0}})
    assert heard_spans(connection, site.id) == {}
