"""What is changed at the command line stands in the audit log, as what pages change does."""

import shlex
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.storage.audit import audit_log
from joulebook.storage.database import Database

HISTORY = "time,battery.power [W]\n1784023200,1000\n1784023260,1000\n"
#: A command that changes something, the action that is noted, and a part of its detail.
CHANGES = (
    ("site add barn --timezone Europe/Lisbon", "add site", "Europe/Lisbon"),
    ("site set studio --battery-ah 100 --battery-cells 16", "change facts", "battery_ah 100.0"),
    ("event add Panels --at '2026-07-14 12:30' --site studio", "add event", "Panels"),
    ("event remove 1 --site studio", "remove event", "Panels"),
    ("correction add battery/power sign --site studio", "add correction", "battery/power"),
    ("correction withdraw 1 --site studio", "withdraw correction", "battery/power"),
    ("deep-test plan --site studio", "plan deep test", "number 1"),
    ("deep-test start --at '2026-07-14 12:30' --site studio", "begin deep test", "12:30"),
    ("deep-test end --at '2026-07-14 22:30' --site studio", "end deep test", "22:30"),
)


def test_every_change_is_noted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = ["--data", str(tmp_path / "house")]
    file = tmp_path / "history.csv"
    file.write_text(HISTORY, encoding="utf-8")
    assert main(["site", "add", "studio", "--timezone", "UTC", *data]) == 0
    assert main(["import", str(file), "--site", "studio", *data]) == 0
    for command, action, detail in CHANGES:
        assert main([*shlex.split(command), *data]) == 0, capsys.readouterr().err
        with closing(Database(tmp_path / "house").connect()) as connection:
            last = audit_log(connection, most=1)[0]
        assert (last.who, last.action) == ("command line", action)
        assert detail in last.detail
        assert last.site == ("barn" if "barn" in command else "studio")


def test_what_was_refused_is_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    data = ["--data", str(tmp_path)]
    assert main(["site", "add", "studio", "--timezone", "UTC", *data]) == 0
    assert main(["event", "remove", "7", "--site", "studio", *data]) == 2
    assert "has no event 7" in capsys.readouterr().err
    with closing(Database(tmp_path).connect()) as connection:
        assert [one.action for one in audit_log(connection)] == ["add site"]
