"""The commands that the operating pages show do what they say."""

import inspect
import re
import shlex
import shutil
from dataclasses import fields
from pathlib import Path

import click
import pytest

from joulebook import logs
from joulebook.cli import health, main, stopping, watchdog, watching
from joulebook.cli.commands import command_named
from joulebook.settings import Settings
from joulebook.storage import faults

ROOT = Path(__file__).parents[1]
PAGE = (ROOT / "docs" / "operating.md").read_text(encoding="utf-8")
PAGES = {
    page.stem: page.read_text(encoding="utf-8") for page in (ROOT / "docs/operating").glob("*.md")
}


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


def test_every_command_that_the_pages_name_exists() -> None:
    named = set(re.findall(r"`joulebook ([\w-]+)(?: ([a-z-]+))?", "".join([PAGE, *PAGES.values()])))
    assert len(named) > 15
    for command, part in named | {("site", ""), ("token", ""), ("import", ""), ("show", "")}:
        parts = getattr(command_named(command), "commands", None)
        assert not part or parts is None or part in parts, f"joulebook {command} {part}"


def test_options_and_settings_that_the_pages_name_exist() -> None:
    for page in PAGES.values():
        for name in re.findall(r'`(\w+) = "', page):
            assert name in {field.name for field in fields(Settings)}
    # A command as it is written there is taken by the command line, up to the names in capitals.
    for written in re.findall(
        r"`joulebook ((?:doctor|health|token|person|restore) [^`]*)`", PAGES["upgrading"]
    ):
        words = ["7" if word == "NUMBER" else word for word in shlex.split(written)]
        command = command_named(words[0])
        rest = words[1:]
        if isinstance(command, click.Group):
            command, rest = command.commands[words[1]], words[2:]
        command.make_context(words[0], rest, resilient_parsing=False)


def test_what_the_service_says_of_itself_is_what_the_table_shows() -> None:
    source = inspect.getsource(health) + inspect.getsource(watchdog) + inspect.getsource(faults)
    shown = re.findall(r"^\| `(.+?)`", PAGES["watching"], flags=re.MULTILINE)
    sentences = [
        each for each in shown if " " in each and not each.startswith(("joulebook", "GET"))
    ]
    assert len(sentences) == 5
    for sentence in sentences:
        for part in re.split(r": | \.\.\. |, again", sentence):
            assert part.strip() in source.replace('"\n            "', ""), part


def test_the_figures_of_the_pages_are_those_of_the_program() -> None:
    page = PAGES["watching"]
    assert f"It takes {stopping.STOP_S:.0f} s at the\nmost" in page
    assert f"for more than {health.MOST_WAITING_S:.0f} s" in page
    assert f"less than {health.NO_ROOM_BYTES / 1e6:.0f} MB of room" in page
    assert f"come {logs.MOST_A_MINUTE} times a minute" in page
    assert (watching._WRITER_S, watching._STEP_S, watching._LOOP_S) == (180, 1800, 60)
    assert "the writer for 3 minutes, others for 30" in page
    pauses = [watchdog.FIRST_PAUSE_S * 2**step for step in range(3)]
    assert f"at once, then after {pauses[0]:.0f}, {pauses[1]:.0f}, {pauses[2]:.0f} s" in page
    assert watchdog.MOST_STARTS == 5
    assert "cannot be helped by five starts" in page


def test_metrics_that_the_pages_name_are_metrics() -> None:
    metrics = (ROOT / "docs" / "metrics.md").read_text(encoding="utf-8")
    known = set(re.findall(r"^\| `(\w+)` \|", metrics, flags=re.MULTILINE))
    for page in [*PAGES.values(), metrics]:
        for name in re.findall(r"`?\b(joulebook_[a-z_]+)", page):
            assert name in known, name
