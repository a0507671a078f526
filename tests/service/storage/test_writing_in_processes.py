"""Real processes: two that write at once, and one that is killed while it writes."""

import subprocess
import sys
from contextlib import closing
from datetime import date, timedelta
from pathlib import Path

import pytest

from joulebook.core.spans import date_of
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database
from joulebook.storage.days import dirty_days
from joulebook.storage.reading import devices_of, read_device, readings_span
from joulebook.storage.series import series_of
from tests.helpers.databases import NOON_MS, studio

pytestmark = pytest.mark.on_a_file  # the other process opens the file

PREAMBLE = """
import random, sys
from contextlib import closing
from pathlib import Path
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database, transaction
from joulebook.storage.records import Column, DeviceRows, Written
from joulebook.storage.series import SeriesRegister
from joulebook.storage.writing import write_rows
database = Database.open(Path(sys.argv[1]))
first, site = int(sys.argv[2]), sites(database)[0]
columns = (Column("power", "W"), Column("soc", "/"))
connection, register, total = database.connect(), SeriesRegister(), Written()
def write(device, rows):
    with transaction(connection):
        series = register.resolve(connection, site.id, device, columns)
        part = DeviceRows(site.id, series[0].device_id, series, rows)
        return write_rows(connection, {site.id: site.zone}, [part])
"""

# Rows of any instants out of 400, over and over, while somebody else does the same.
AT_ONCE = f"""{PREAMBLE}
draws = random.Random(first)
input()
for turn in range(60):
    for device in ("battery", "grid"):
        chosen = draws.choices(range(400), k=40)
        total += write(device, [({NOON_MS} + 5000 * at, float(at), at / 400) for at in chosen])
print(total.new, total.repeated, total.replaced)
"""

# Batch n is day n; its number is told once its commit is done.
FOR_EVER = f"""{PREAMBLE}
for day in range(first, first + 5000):
    start_ms = {NOON_MS} + 86_400_000 * day
    write("battery", [(start_ms + 5000 * at, float(day), at / 50) for at in range(50)])
    print(day, flush=True)
"""


def start(script: str, data_dir: Path, first: int) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-c", script, str(data_dir), str(first)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_two_processes_store_each_reading_once_and_count_it_once(tmp_path: Path) -> None:
    database, site = studio(tmp_path)
    writers = [start(AT_ONCE, tmp_path, first) for first in (1, 2)]
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write("\n")
        writer.stdin.flush()
    told = [writer.communicate(timeout=120) for writer in writers]
    assert [errors for _, errors in told] == ["", ""]
    counts = [[int(number) for number in output.split()] for output, _ in told]
    with closing(database.connect()) as connection:
        assert devices_of(connection, site.id) == ["battery", "grid"]
        assert len(series_of(connection, site.id)) == 4
        span = readings_span(connection, site.id)
        assert span is not None
        stored = 0
        for device in ("battery", "grid"):
            readings = read_device(connection, site.id, device, span)
            stored += 2 * len(readings.at_ms)
            expected = (readings.at_ms - NOON_MS) / 5000
            assert readings.values["power"].tolist() == expected.tolist()
            assert readings.values["soc"].tolist() == (expected / 400).tolist()
    assert sum(new for new, _, _ in counts) == stored
    assert [sum(count) for count in counts] == [2 * 60 * 40 * 2] * 2
    assert [replaced for _, _, replaced in counts] == [0, 0]


@pytest.mark.parametrize("acknowledged", [1, 4, 20, 61, 150])
def test_killed_while_writing_it_has_every_batch_it_told_of_with_its_marks(
    tmp_path: Path, acknowledged: int
) -> None:
    studio(tmp_path)[0].close()
    writer = start(FOR_EVER, tmp_path, 0)
    assert writer.stdout is not None
    for _ in range(acknowledged):
        writer.stdout.readline()
    writer.kill()  # SIGKILL
    output, errors = writer.communicate(timeout=60)
    assert errors == ""
    told = acknowledged + len(output.splitlines())

    database = Database.open(tmp_path)
    (site,) = sites(database)
    with closing(database.connect()) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        span = readings_span(connection, site.id)
        assert span is not None
        readings = read_device(connection, site.id, "battery", span)
        days = readings.values["power"].tolist()
        # One more may have been committed and not yet told; no batch is there in part.
        stored = len(days) // 50
        assert stored in {told, told + 1}
        assert days == [float(day) for day in range(stored) for _ in range(50)]
        first = date_of(NOON_MS, site.zone)
        marked = [dirty.day for dirty in dirty_days(connection, limit=10**6)]
        assert marked[::-1] == [first + timedelta(days=day) for day in range(stored)]


def test_after_a_kill_another_process_goes_on(tmp_path: Path) -> None:
    studio(tmp_path)[0].close()
    for first in (0, 1000):
        writer = start(FOR_EVER, tmp_path, first)
        assert writer.stdout is not None
        assert writer.stdout.readline() == f"{first}\n"
        writer.kill()
        writer.communicate(timeout=60)
    database = Database.open(tmp_path)
    with closing(database.connect()) as connection:
        assert date(2026, 3, 1) in {dirty.day for dirty in dirty_days(connection, limit=10**6)}
        span = readings_span(connection, sites(database)[0].id)
        assert span is not None
        assert span.start_ms == NOON_MS
        assert span.end_ms > NOON_MS + 86_400_000 * 1000
