"""``kill -9`` anywhere in a move: the next run makes it whole, and nothing is doubled or lost."""

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pytest

from joulebook.storage.catalogue import sites
from joulebook.storage.database import Database
from joulebook.storage.moving import move_site
from joulebook.storage.moving_finish import late_units
from tests.helpers.moved_sites import NAME, shifted
from tests.helpers.postgres import PostgresServer
from tests.helpers.seen_sites import seen

KILLED = -9
#: From a copy that has not begun to one that is whole and waits for its name.
POINTS = ("inside 1", "piece 1", "inside 1", "piece 2", "piece 4", "inside 1", "piece 9", "end 1")


@contextmanager
def mover(source: Database, target: Database) -> "Iterator[subprocess.Popen[str]]":
    process = subprocess.Popen(
        [
            *(sys.executable, "-m", "tests.helpers.killed_moves"),
            *(str(source.data_dir), str(target.data_dir)),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        env={**os.environ, **target.environment},
    )
    yield process
    process.communicate(timeout=60)
    assert process.returncode == 0


def killed_at(process: "subprocess.Popen[str]", point: str) -> int:
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.write(f"{point}\n")
    process.stdin.flush()
    return int(process.stdout.readline())


def kill_and_go_on(house: Database, target: Database) -> None:
    before = seen(house)
    with mover(house, target) as process:
        for point in POINTS:
            assert killed_at(process, point) == KILLED, point
            assert [site.name for site in sites(target)] == ["annex"]
        assert killed_at(process, "seen 1") == KILLED
    # It was whole, and the run that did it could not tell any more: this one can.
    assert seen(target) == before
    moved = move_site(house, target, NAME, now_ms=1)
    assert (moved.already, moved.written) == (True, 0)
    assert moved.compared > len(late_units())
    with closing(target.connect()) as connection:
        names = connection.execute("SELECT name FROM sites ORDER BY name").fetchall()
        assert names == [("annex",), (NAME,)]
    assert seen(house) == before


def test_nine_kills_of_a_move_to_a_file(house: Database, target: Database) -> None:
    kill_and_go_on(house, target)


@pytest.mark.outside
def test_nine_kills_of_a_move_to_a_server(
    house: Database, postgres: PostgresServer, tmp_path: Path
) -> None:
    target = shifted(Database.open(tmp_path / "beside", postgres.place()))
    kill_and_go_on(house, target)
    target.close()
