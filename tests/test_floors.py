"""The shape of the house: layers, sizes, names, and nothing that gives a machine away."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
PRODUCT = [
    *(ROOT / "service" / "joulebook").rglob("*.py"),
    *(ROOT / "clients" / "bridge" / "joulebook_bridge").rglob("*.py"),
]


def test_imports_go_downward_only() -> None:
    command = "from importlinter.cli import lint_imports_command; lint_imports_command()"
    done = subprocess.run(
        [sys.executable, "-c", command], cwd=ROOT, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "4 kept, 0 broken" in done.stdout


@pytest.mark.parametrize("file", PRODUCT, ids=lambda file: str(file.relative_to(ROOT)))
def test_a_file_can_be_read_in_one_sitting(file: Path) -> None:
    assert lines(file) <= 300


def test_so_can_a_file_of_tests() -> None:
    tests = (ROOT / "tests").rglob("*.py")
    assert {str(file.relative_to(ROOT)): lines(file) for file in tests if lines(file) > 300} == {}


def lines(file: Path) -> int:
    return len(file.read_text(encoding="utf-8").splitlines())


def test_a_module_is_named_for_what_it_holds() -> None:
    vague = {"utils", "helpers", "manager", "common", "misc"}
    assert not vague & {file.stem for file in PRODUCT}


def test_no_file_names_a_machine_or_a_registry() -> None:
    # Spelled in parts, so that this file does not find itself.
    pattern = re.compile(
        "|".join(["/" + "work/", "/" + "root/", "pypi" + r"\.org", "registry" + r"\.npm"])
    )
    found = [
        str(file.relative_to(ROOT))
        for folder in ("service", "clients", "tests", "docs", "docker", ".ci")
        for file in (ROOT / folder).rglob("*")
        if file.suffix in {".py", ".md", ".toml", ".html", ".css", ".js", ".json", ".csv", ""}
        and file.is_file()
        and "node_modules" not in file.parts
        and pattern.search(file.read_text(encoding="utf-8", errors="replace"))
    ]
    assert found == []
