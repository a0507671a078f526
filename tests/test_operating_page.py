"""The commands that the operating page shows do what it says."""

import re
import shlex
import shutil
from pathlib import Path

import pytest

from joulebook.cli import main
from joulebook.cli.commands import joulebook

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "operating.md").read_text(encoding="utf-8")


def test_the_sessions_print_what_the_page_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(ROOT / "docs" / "examples" / "history.csv", tmp_path)
    monkeypatch.chdir(tmp_path)
    drill, said = re.findall(r"^```console\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    # What is said of readings, later on the page, is said of the house that the drill made.
    steps = [step for session in (drill, said) for step in session.split("$ joulebook ")[1:]]
    assert len(steps) == 6 + 6
    for step in steps:
        command, _, expected = step.partition("\n")
        assert main(shlex.split(command)) == 0
        # "..." stands for counts that change with the schema.
        pattern = re.escape(expected).replace(re.escape("..."), ".+")
        assert re.fullmatch(pattern, capsys.readouterr().out)


def test_the_other_commands_of_the_page_do_as_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copy(ROOT / "docs" / "examples" / "history.csv", tmp_path)
    monkeypatch.chdir(tmp_path)
    data = ["--data", "house"]
    assert main(["site", "add", "studio", "--timezone", "Europe/Lisbon", *data]) == 0
    assert main(["import", "history.csv", "--site", "studio", *data]) == 0
    shown = re.findall(r"^```sh\njoulebook (.*?)\n```$", PAGE, flags=re.MULTILINE)
    assert [command.split()[0] for command in shown] == ["backup", "verify", "export"]
    for command in shown:
        here = command.replace("/media/stick/", "").replace("DIR", "house")
        assert main(shlex.split(here)) == 0
    assert len((tmp_path / "july.csv").read_text(encoding="utf-8").splitlines()) == 26


def test_every_command_that_the_page_names_exists() -> None:
    named = set(re.findall(r"`joulebook ([\w-]+)", PAGE)) | {"site", "token", "import", "show"}
    assert named <= joulebook.commands.keys()
