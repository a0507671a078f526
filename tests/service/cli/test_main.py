import runpy
import subprocess
import sys

import pytest

from joulebook.cli import main
from tests.helpers.service import clean_environment, start_service


def test_help_says_what_it_is_for_and_that_it_never_controls(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["--help"]) == 0
    told = capsys.readouterr().out
    assert "never switches or controls" in told
    assert "joulebook site add" in told


def test_an_unknown_command_is_four_lines_and_status_2(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sho"]) == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert [line.split(":")[0].strip() for line in seen.err.splitlines()] == [
        "joulebook",
        "where",
        "expected",
        "next",
    ]


def test_a_missing_option_names_the_command_that_misses_it(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["token", "add", "shed", "--site", "studio"]) == 2
    told = capsys.readouterr().err
    assert "Missing option '--data'" in told
    assert "where:    joulebook token add" in told
    assert "next:     joulebook token add --help shows examples" in told


def test_a_data_directory_that_is_not_there_is_named(
    tmp_path: object, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["show", "days", "--site", "studio", "--data", f"{tmp_path}/none"]) == 2
    assert "there is no such data directory" in capsys.readouterr().err


def test_an_interrupted_command_ends_with_130(monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("joulebook.cli.joulebook.main", interrupted)
    assert main(["demo"]) == 130


def test_the_command_and_the_module_are_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "argv", ["joulebook", "--version"])
    with pytest.raises(SystemExit) as ended:
        runpy.run_module("joulebook", run_name="__main__")
    assert ended.value.code == 0
    done = subprocess.run(
        [sys.executable, "-m", "joulebook", "--version"],
        env=clean_environment(),
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.startswith("joulebook, version ")


def test_a_service_that_cannot_start_says_so_and_ends() -> None:
    with pytest.raises(AssertionError, match="it ended with 2 before its doors were open"):
        start_service("serve")
