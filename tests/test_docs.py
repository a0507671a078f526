"""What README and the pages show is what happens."""

import re
import shlex
import shutil
from pathlib import Path

import httpx2
import pytest

from joulebook.cli import main
from joulebook.cli.commands import command_named, command_names
from joulebook.core.quantities import QUANTITIES
from tests.helpers.mqtt_inbox import WAIT_S, wait_until
from tests.helpers.service import start_service

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
UNITS = {"/": "ratio", "Cel": "°C"}


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, flags=re.MULTILINE | re.DOTALL)


def test_command_one_installs_and_shows_the_demonstration() -> None:
    install, demo = blocks("sh")[0].strip().rsplit(" && ", 1)
    assert install == "python3 -m venv .venv && .venv/bin/pip install -e ."
    assert demo == ".venv/bin/joulebook demo"


def test_command_two_installs_the_tests_and_runs_them() -> None:
    assert (
        blocks("sh")[1]
        .strip()
        .endswith('-e ".[test]" -e clients/bridge && .venv/bin/python -m pytest')
    )


def test_the_demonstration_serves_moves_ends_and_continues(demo_data: Path) -> None:
    # The fixture was the first run; this one finds its readings and goes on from there.
    service = start_service("demo", "--data", str(demo_data), "--port", "0", "--mqtt-port", "0")
    page = httpx2.get(f"{service.pages}/sites/studio", timeout=WAIT_S)
    wait_until(
        lambda: (
            "readings_new_total 0"
            not in httpx2.get(f"{service.pages}/metrics", timeout=WAIT_S).text
        )
    )
    # The bridge is installed here, so it reads the annex from a simulated plant's registers.
    wait_until(lambda: "Battery" in httpx2.get(f"{service.pages}/sites/annex", timeout=WAIT_S).text)
    assert page.status_code == 200
    assert service.end() == 0


def test_the_console_session_prints_what_readme_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    shutil.copy(ROOT / "docs" / "examples" / "history.csv", tmp_path)
    monkeypatch.chdir(tmp_path)
    [session] = blocks("console")
    for step in session.split("$ joulebook ")[1:]:
        command, _, expected = step.partition("\n")
        assert main(shlex.split(command)) == 0
        assert capsys.readouterr().out == expected


def test_every_command_is_named_in_readme_or_in_the_help_and_has_an_example() -> None:
    for name in command_names():
        command = command_named(name)
        commands = getattr(command, "commands", {"": command})
        for part, leaf in commands.items():
            assert f"Example: joulebook {name} {part}".strip() in (leaf.help or "")


def test_vocabulary_page_and_program_know_the_same_quantities() -> None:
    page = (ROOT / "docs" / "vocabulary.md").read_text(encoding="utf-8")
    for kind, quantities in QUANTITIES.items():
        [row] = re.findall(rf"^\| {kind} \| (.*) \|$", page, flags=re.MULTILINE)
        told = [
            f"{name} {UNITS.get(quantity.unit, quantity.unit)}"
            + (" (counter)" if quantity.counter else "")
            for name, quantity in quantities.items()
        ]
        assert row.split(", ") == told


def test_links_between_pages_lead_somewhere() -> None:
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *(ROOT / "docs").rglob("*.md")]
    for page in pages:
        for target in re.findall(r"\]\(([^)#:]+)\)", page.read_text(encoding="utf-8")):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"
