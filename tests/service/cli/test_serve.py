"""What the service says when it starts."""

import shutil
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from tests.helpers.service import serve


def test_it_says_what_a_bad_end_left_behind(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    database = Database.open(tmp_path / "house")
    with database.engine.begin() as connection:
        connection.exec_driver_sql("CREATE TABLE glazes (name VARCHAR)")
    before = database.connect()
    before.execute("INSERT INTO glazes VALUES ('celadon')")
    # A copy of an open database is what a power cut leaves.
    shutil.copytree(database.data_dir, tmp_path / "cut")
    before.close()
    database.close()
    service = serve(tmp_path / "cut")
    assert service.end() == 0
    said = capfd.readouterr().err
    assert "the database was not closed the last time" in said
    assert "results are behind their readings on 0 days" in said
