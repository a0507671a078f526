"""What was set aside, counted and tried again at the command line."""

import json
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.ingest.committer import Committer
from joulebook.storage.audit import audit_log
from tests.helpers.databases import studio
from tests.helpers.packs import VOLTAGE, message


def test_it_is_counted_tried_again_and_noted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    house = ["--data", str(tmp_path)]
    database, _ = studio(tmp_path)
    assert main(["set-aside", "list", *house]) == 0
    with closing(Committer(database)) as committer:
        # Received in 2026-05 by a clock that was behind; true since the readings came.
        committer.commit([message([VOLTAGE | {"t": 1_780_100_000}]), message(b"nothing")])
    assert main(["set-aside", "list", "--site", "studio", *house]) == 0
    assert main(["set-aside", "again", "--site", "studio", *house]) == 0
    assert main(["set-aside", "again", "--json", *house]) == 0
    assert main(["set-aside", "list", "--json", *house]) == 0
    *lines, again, there = capsys.readouterr().out.splitlines()
    assert lines == [
        "nothing was set aside",
        "json-malformed  1",
        "time-ahead  1",
        "tried again: 2, stored: 1",
    ]
    assert json.loads(again) == {"tried": 1, "stored": 0}
    assert [each["kept"] for each in json.loads(there)["reasons"]] == [1, 0]
    with closing(database.connect()) as connection:
        noted = [(each.site, each.detail) for each in audit_log(connection)]
    assert noted == [(None, "0 of 1 stored"), ("studio", "1 of 2 stored")]  # the newest first
    database.close()


def test_a_site_that_is_not_there_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    studio(tmp_path)[0].close()
    assert main(["set-aside", "again", "--site", "kiln", "--data", str(tmp_path)]) == 2
    assert "there is no site 'kiln'" in capsys.readouterr().err
