"""What is exported is read back by the real import: the same instants, the same bits."""

import struct
from contextlib import closing
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.quantities import QUANTITIES
from joulebook.export.csv_files import write_csv
from joulebook.export.readings import export_readings
from joulebook.export.tables import TablePart
from joulebook.ingest.bulk import ImportCounts
from joulebook.ingest.tables import import_csv
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Database
from joulebook.storage.records import Column, Series, Site
from tests.helpers.databases import NOON_MS, studio, write
from tests.helpers.same_readings import same_readings

#: Every hard float that a device could send: signs, ends of the range, digits that must all stay.
HARD = (
    *(0.0, -0.0, 0.1 + 0.2, 1 / 3, 5e-324, 2.2250738585072014e-308, 1.7976931348623157e308),
    *(-1e-7, 1e16, 1e22, 9007199254740993.0, 53.1, -273.15, 1e-320),
)
#: Units that are no unit, have signs in them, or would convert to another if one let them.
UNITS = ("", "/", "%", "%RH", "K", "kWh", "m/s2", "dBm", "Ohm", "1/min", "Wh/km", "/1000", "ug/m3")


def bits(values: np.ndarray) -> list[bytes]:
    return [struct.pack("<d", value) for value in values.tolist()]


def back(home: tuple[Database, Site], tmp_path: Path) -> tuple[tuple[Database, Site], ImportCounts]:
    """Export a site and import it into a new one of another database."""
    exported = export_readings(*home, tmp_path / "out.csv")
    database = Database.open(tmp_path / "other")
    site = add_site(database, "annexe", home[1].timezone)
    counts = import_csv(database, site, tmp_path / "out.csv", clock_ms=lambda: NOON_MS + 10**9)
    assert counts == ImportCounts(rows=exported.rows, new=exported.readings)
    return (database, site), counts


def test_hard_floats_odd_units_and_unknown_quantities_come_back_bit_for_bit(tmp_path: Path) -> None:
    home = studio(tmp_path / "home")
    columns = [Column(f"a.b:c/d-{place}_", unit) for place, unit in enumerate(UNITS)]
    rows = {
        NOON_MS + at: {
            column.quantity: HARD[(at + place) % len(HARD)]
            for place, column in enumerate(columns)
            if (at + place) % 5
        }
        for at in range(len(HARD) * 3)
    }
    with closing(home[0].connect()) as connection:
        write(connection, home[1], "weather-station", rows, columns)
    other, counts = back(home, tmp_path)
    assert same_readings(home, other) == counts.new > 400


def test_every_quantity_of_the_vocabulary_comes_back(tmp_path: Path) -> None:
    home = studio(tmp_path / "home")
    with closing(home[0].connect()) as connection:
        for kind, quantities in QUANTITIES.items():
            columns = [Column(name, quantity.unit) for name, quantity in quantities.items()]
            for device in (kind, f"{kind}-2"):
                rows = {
                    NOON_MS + 1000 * at: {column.quantity: at / 70 for column in columns}
                    for at in range(70)
                }
                write(connection, home[1], device, rows, columns)
    other, counts = back(home, tmp_path)
    assert same_readings(home, other) == counts.new == counts.rows * 2 * 28
    again = import_csv(*home, tmp_path / "out.csv", clock_ms=lambda: NOON_MS + 10**9)
    assert again == ImportCounts(rows=counts.rows, repeated=counts.new)


def test_a_week_of_the_demonstration_comes_back(demo_data: Path, tmp_path: Path) -> None:
    database = Database.open(demo_data)
    site = site_named(database, "studio")
    file, days = tmp_path / "week.csv", (date(2026, 3, 1), date(2026, 3, 7))
    exported = export_readings(database, site, file, first=days[0], last=days[1])
    assert exported.readings > 50_000
    new = Database.open(tmp_path / "other")
    annexe = add_site(new, "annexe", site.timezone)
    counts = import_csv(new, annexe, file, clock_ms=lambda: NOON_MS + 10**12)
    assert counts == ImportCounts(rows=exported.rows, new=exported.readings)
    again = import_csv(database, site, file, clock_ms=lambda: NOON_MS + 10**12)
    assert again == ImportCounts(rows=exported.rows, repeated=exported.readings)


POWER = Series(1, 1, 1, "battery", "power", "W", "number", 0)
SOC = Series(2, 1, 1, "battery", "soc", "/", "number", 1)


def test_a_file_looks_like_this(tmp_path: Path) -> None:
    part = TablePart(
        np.array([NOON_MS, NOON_MS + 5]), [np.array([1.5, np.nan]), np.array([np.nan, 0.61])]
    )
    write_csv(tmp_path / "out.csv", [POWER, SOC], [part])
    assert (tmp_path / "out.csv").read_bytes() == (
        b"time,battery.power [W],battery.soc [/]\n"
        b"2026-03-01T12:00:00.000Z,1.5,\n"
        b"2026-03-01T12:00:00.005Z,,0.61\n"
    )


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=20))
@settings(derandomize=True, deadline=None, max_examples=200)
def test_the_text_of_a_number_is_the_number(
    tmp_path_factory: pytest.TempPathFactory, values: list[float]
) -> None:
    path = tmp_path_factory.mktemp("csv") / "out.csv"
    at_ms = NOON_MS + np.arange(len(values))
    write_csv(path, [POWER], [TablePart(at_ms, [np.array(values)])])
    lines = path.read_text(encoding="utf-8").splitlines()[1:]
    # Python's float() is IEEE 754's nearest; NumPy reads dates by itself.
    read = np.array([float(line.split(",")[1]) for line in lines])
    assert bits(read) == bits(np.array(values))
    dates = [line.split(",")[0].removesuffix("Z") for line in lines]
    assert np.array(dates, dtype="datetime64[ms]").astype(np.int64).tolist() == at_ms.tolist()
