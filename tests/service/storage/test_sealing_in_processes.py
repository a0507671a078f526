"""``kill -9`` anywhere in writing, sealing and merging: nothing lost, doubled or changed."""

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, field

import pytest

from joulebook.core.spans import Span
from joulebook.storage.database import Connection, Database
from joulebook.storage.reading import read_series
from joulebook.storage.records import Site, Value, Written
from joulebook.storage.sealing import seal
from joulebook.storage.series import series_of
from tests.helpers.killed_sealing import DAY_MS, INSTANTS, KINDS, MONDAY_MS, batch

pytestmark = pytest.mark.on_a_file  # the other process opens the file

ROUNDS = 40
#: About what a run of sealing takes. [s]
LONGEST_S = 0.1


@dataclass
class Model:
    """What was told to be committed, as a dict."""

    readings: dict[tuple[str, int], Value] = field(default_factory=dict)

    def write(self, number: int) -> Written:
        new = repeated = replaced = 0
        for at_ms, *row in batch(number):
            assert isinstance(at_ms, int)
            for quantity, value in zip(KINDS, row, strict=True):
                if value is None:
                    continue
                before = self.readings.get((quantity, at_ms))
                new += before is None
                repeated += before == value
                replaced += before is not None and before != value
                self.readings[quantity, at_ms] = value
        return Written(new, repeated, replaced)


@pytest.fixture
def writer(database: Database, site: Site) -> "Iterator[subprocess.Popen[str]]":
    assert site.name == "studio"
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.helpers.killed_sealing", str(database.data_dir)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    yield process
    process.communicate(timeout=60)


def told(
    writer: "subprocess.Popen[str]", turn: int, first: int, batches: int, wait_s: float
) -> list[list[int]]:
    """Let a copy of the writer run, kill it, and return what it told: number and counts.

    The kill comes some time after it told of so many batches: however slow the machine is.
    """
    assert writer.stdin is not None
    assert writer.stdout is not None
    writer.stdin.write(f"{turn} {first}\n")
    writer.stdin.flush()
    lines: list[str] = []
    process = 0
    while not process or len(lines) < batches:
        line = writer.stdout.readline()
        assert line not in ("", "ended\n"), "it ended by itself"
        if line.startswith("process"):
            process = int(line.split()[1])
        else:
            lines.append(line)
    time.sleep(wait_s)
    os.kill(process, signal.SIGKILL)
    while (line := writer.stdout.readline()) != "ended\n":
        assert line, "it ended by itself"
        lines.append(line)
    return [list(map(int, line.split())) for line in lines]


def test_forty_kills_lose_double_and_change_nothing(
    connection: Connection, site: Site, writer: "subprocess.Popen[str]"
) -> None:
    chance, model, number = random.Random(11), Model(), 0
    sealed_when_killed = 0
    for turn in range(ROUNDS):
        batches, wait_s = chance.randrange(4), chance.uniform(0, LONGEST_S)
        for batch_number, *counts in told(writer, turn, number, batches, wait_s):
            assert batch_number == number
            assert model.write(number) == Written(*counts)
            number += 1
        found = stored(connection, site)
        if found != model.readings:  # pragma: no cover -- by chance of the moment
            # It was killed after the commit and before it told.
            model.write(number)
            number += 1
        assert found == model.readings
        assert connection.execute("PRAGMA quick_check").fetchone() == ("ok",)
        sealed_when_killed += both_hot_and_sealed(connection)
    # The test is worth something only if some kills came in the middle of it all.
    assert number > ROUNDS
    assert sealed_when_killed > 0
    sealed = seal(connection, MONDAY_MS + 60 * DAY_MS)
    assert (sealed.postponed, sealed.damaged) == (0, ())
    assert stored(connection, site) == model.readings
    assert connection.execute("SELECT count(*) FROM readings").fetchone() == (0,)
    assert connection.execute("SELECT count(*) FROM blocks").fetchone() == (3,)


def both_hot_and_sealed(connection: Connection) -> bool:
    """Tell whether a period has a block and hot rows: it was being sealed, or had late rows."""
    (there,) = connection.execute(
        """
        SELECT EXISTS (
            SELECT 1
            FROM readings
            JOIN blocks ON readings.device_id = blocks.device_id
                AND at_ms BETWEEN start_ms AND end_ms
        )
        """
    ).fetchone()
    return bool(there)


def stored(connection: Connection, site: Site) -> dict[tuple[str, int], Value]:
    series = series_of(connection, site.id)
    if not series:  # pragma: no cover -- by chance it was killed before its first commit
        return {}
    block, damaged = read_series(connection, series, Span(INSTANTS[0], INSTANTS[-1] + 1))
    assert damaged == ()
    assert (block.at_ms[1:] > block.at_ms[:-1]).all()
    found: dict[tuple[str, int], Value] = {}
    for one in series:
        column = block.columns[one.id]
        present = column.present()
        for at_ms, value in zip(
            block.at_ms[present].tolist(), column.values[present].tolist(), strict=True
        ):
            found[one.quantity, at_ms] = bool(value) if one.kind == "flag" else value
    return found
