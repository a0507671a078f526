"""Columns of readings under the same rules as messages."""

from collections.abc import Iterator
from contextlib import closing

import numpy as np
import pytest

from joulebook.core.spans import Span
from joulebook.errors import UsageError
from joulebook.ingest import bulk as bulk_module
from joulebook.ingest.bulk import BulkImport, DeviceColumns, ImportCounts
from joulebook.ingest.committer import Committer
from joulebook.storage.database import Database, StorageUnavailableError
from joulebook.storage.days import dirty_days
from joulebook.storage.quarantine import quarantined
from joulebook.storage.reading import read_device
from joulebook.storage.records import DeviceReadings, Refused, Site, Written
from joulebook.storage.series import MAX_SERIES
from tests.helpers.packs import NOW_MS, message

NAN = float("nan")
START_MS = NOW_MS - 100_000


@pytest.fixture
def bulk(home: tuple[Database, Site]) -> Iterator[BulkImport]:
    with BulkImport(*home, source="old.csv", clock_ms=lambda: NOW_MS) as made:
        yield made


def columns(device: str, instants: list[int], **values: list[float]) -> DeviceColumns:
    arrays = {name: np.array(column) for name, column in values.items()}
    return DeviceColumns(device, np.array(instants, dtype=np.int64), arrays)


def stored(home: tuple[Database, Site], device: str) -> DeviceReadings:
    with closing(home[0].connect()) as connection:
        return read_device(connection, home[1].id, device, Span(0, 2 * NOW_MS))


def refused(home: tuple[Database, Site]) -> dict[str, Refused]:
    with closing(home[0].connect()) as connection:
        return {one.refused.reason: one.refused for one in quarantined(connection, home[1].id)}


def test_columns_are_stored_and_a_second_time_they_are_repeats(
    home: tuple[Database, Site], bulk: BulkImport
) -> None:
    part = columns("battery", [START_MS, START_MS + 5000], voltage=[53.1, 53.2], soc=[0.5, NAN])
    assert bulk.add(part) == Written(new=3)
    assert bulk.add(part) == Written(repeated=3)
    assert bulk.add(columns("battery", [START_MS], voltage=[54.0])) == Written(replaced=1)
    assert bulk.counts == ImportCounts(rows=5, new=3, repeated=3, replaced=1)
    found = stored(home, "battery")
    assert found.at_ms.tolist() == [START_MS, START_MS + 5000]
    np.testing.assert_array_equal(found.values["voltage"], [54.0, 53.2])
    np.testing.assert_array_equal(found.values["soc"], [0.5, NAN])
    with closing(home[0].connect()) as connection:
        assert len(dirty_days(connection)) == 1


def test_rows_in_any_order_are_stored_and_the_later_of_two_stays(
    home: tuple[Database, Site], bulk: BulkImport
) -> None:
    instants = [START_MS + 2, START_MS, START_MS + 1, START_MS]
    bulk.add(columns("battery", instants, voltage=[52.0, 50.0, NAN, 50.5]))
    found = stored(home, "battery")
    assert found.at_ms.tolist() == [START_MS, START_MS + 2]
    assert found.values["voltage"].tolist() == [50.5, 52.0]
    assert bulk.counts == ImportCounts(rows=4, new=2, replaced=1)


def test_times_that_cannot_be_are_set_aside_as_a_file(
    home: tuple[Database, Site], bulk: BulkImport
) -> None:
    instants = [5000, START_MS, NOW_MS + 600_001, 6000]
    bulk.add(columns("battery", instants, voltage=[1.0, 2.0, 3.0, NAN], soc=[NAN, 0.5, 0.5, NAN]))
    assert bulk.counts == ImportCounts(rows=4, new=2, quarantined=3)
    kept = refused(home)
    assert kept.keys() == {"time-too-old", "time-ahead"}
    old = kept["time-too-old"]
    assert old.payload.decode().splitlines() == [
        "time,battery.voltage [V],battery.soc [/]",
        "1970-01-01T00:00:05.000Z,1.0,",
    ]
    assert old.topic == "joulebook/v1/studio/battery"
    assert old.source == "old.csv"
    assert "rows refused: 1" in old.detail
    assert "1970-01-01T00:00:05.000Z" in old.detail


def test_values_that_cannot_be_are_set_aside_and_their_row_is_stored(
    home: tuple[Database, Site], bulk: BulkImport
) -> None:
    instants = [START_MS + step for step in range(4)]
    bulk.add(
        columns(
            "battery", instants, voltage=[53.0, np.inf, 53.2, -np.inf], soc=[0.5, 0.6, 61.0, -1.0]
        )
    )
    kept = refused(home)
    assert kept.keys() == {"value-not-finite", "ratio-too-large", "negative"}
    assert kept["ratio-too-large"].payload.decode().splitlines()[1].endswith(",61.0")
    assert "battery.soc, readings refused: 1" in kept["negative"].detail
    assert "battery.voltage, readings refused: 2" in kept["value-not-finite"].detail
    assert bulk.counts == ImportCounts(rows=4, new=4, quarantined=4)
    np.testing.assert_array_equal(stored(home, "battery").values["soc"], [0.5, 0.6, NAN])


def test_a_stored_series_is_held_to_its_range_too(home: tuple[Database, Site]) -> None:
    for soc, expected in ((0.5, Written(new=1)), (61.0, Written())):
        with BulkImport(*home, source="x", clock_ms=lambda: NOW_MS) as bulk:
            assert bulk.add(columns("battery", [START_MS], soc=[soc])) == expected
    assert refused(home).keys() == {"ratio-too-large"}


def test_columns_of_nothing_store_nothing(home: tuple[Database, Site], bulk: BulkImport) -> None:
    assert bulk.add(columns("battery", [START_MS], voltage=[NAN])) == Written()
    assert bulk.add(columns("battery", [])) == Written()
    assert bulk.add(columns("battery", [1, START_MS])) == Written()
    assert refused(home) == {}
    assert len(stored(home, "battery").at_ms) == 0


def test_an_unknown_quantity_keeps_its_unit(bulk: BulkImport) -> None:
    at_ms = np.array([START_MS])
    part = DeviceColumns("kiln", at_ms, {"heat": np.array([1.0])}, {"heat": "kW"})
    assert bulk.add(part) == Written(new=1)
    with pytest.raises(UsageError, match=r"kiln\.heat is stored as number \[kW\], not"):
        bulk.add(DeviceColumns("kiln", at_ms, part.values, {"heat": ""}))


@pytest.mark.parametrize(
    ("device", "quantity", "unit", "said"),
    [
        ("Kiln", "heat", "", "is of device 'Kiln'"),
        ("kiln", "-heat", "", "is no name of a quantity"),
        ("battery", "voltage", "A", "is in 'A'; expected one of V, mV"),
        ("battery", "voltage", "mV", "is in 'mV'; expected V"),
        ("kiln", "heat", "warm", "is in 'warm'"),
    ],
)
def test_a_wrong_name_or_unit_stops_the_import(
    home: tuple[Database, Site], bulk: BulkImport, device: str, quantity: str, unit: str, said: str
) -> None:
    part = DeviceColumns(
        device, np.array([START_MS]), {quantity: np.array([1.0])}, {quantity: unit}
    )
    with pytest.raises(UsageError) as error:
        bulk.add(part)
    assert said in error.value.what
    assert bulk.counts == ImportCounts()
    assert refused(home) == {}


def test_a_stored_unit_stands_above_the_one_that_is_sent(home: tuple[Database, Site]) -> None:
    with closing(Committer(home[0])) as committer:
        committer.commit([message([{"n": "heat", "u": "W", "v": 1}], device="kiln")])
    with BulkImport(*home, source="x", clock_ms=lambda: NOW_MS) as bulk:
        assert bulk.add(columns("kiln", [START_MS], heat=[1.0])) == Written(new=1)
        part = DeviceColumns(
            "kiln", np.array([START_MS]), {"heat": np.array([1.0])}, {"heat": "kW"}
        )
        with pytest.raises(UsageError, match=r"kiln\.heat is in 'kW'; expected W"):
            bulk.add(part)


def test_a_series_that_holds_text_takes_no_numbers(home: tuple[Database, Site]) -> None:
    with closing(Committer(home[0])) as committer:
        committer.commit([message([{"n": "mode", "vs": "float"}], device="kiln")])
    with (
        BulkImport(*home, source="x", clock_ms=lambda: NOW_MS) as bulk,
        pytest.raises(UsageError, match="is a number; expected a text"),
    ):
        bulk.add(columns("kiln", [START_MS], mode=[1.0]))


def test_a_series_that_somebody_else_makes_meanwhile_stops_the_import(
    home: tuple[Database, Site], bulk: BulkImport
) -> None:
    with closing(Committer(home[0])) as committer:
        committer.commit([message([{"n": "heat", "u": "W", "v": 1}], device="kiln")])
    with pytest.raises(UsageError, match="is stored as number"):
        bulk.add(columns("kiln", [START_MS], heat=[1.0]))
    assert bulk.counts == ImportCounts()


def test_a_device_with_too_many_quantities_stops_the_import(bulk: BulkImport) -> None:
    names = {f"q{number}": [1.0] for number in range(MAX_SERIES + 1)}
    with pytest.raises(UsageError, match="no place"):
        bulk.add(columns("kiln", [START_MS], **names))


def test_storage_that_is_away_leaves_nothing_behind(
    bulk: BulkImport, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> Written:
        raise StorageUnavailableError("the disk is full", where="", expected="", next_step="")

    part = columns("battery", [START_MS], voltage=[53.1])
    monkeypatch.setattr(bulk_module, "write_rows", full)
    with pytest.raises(StorageUnavailableError):
        bulk.add(part)
    assert bulk.counts == ImportCounts()
    monkeypatch.undo()
    assert bulk.add(part) == Written(new=1)


def test_columns_of_unlike_length_are_a_bug_of_the_caller(bulk: BulkImport) -> None:
    with pytest.raises(IndexError):
        bulk.add(columns("battery", [START_MS], voltage=[1.0, 2.0]))
