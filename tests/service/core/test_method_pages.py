"""Every method has its page, and every page says what a person needs to judge the number."""

import re
from pathlib import Path

import pytest

import joulebook.core
import joulebook.summaries

PAGES = Path(__file__).parents[3] / "docs" / "methods"
PARTS = ("Inputs", "Coverage", "Interval", "Source", "Known errors")


def _methods() -> set[str]:
    """Every name of the form ``word-1`` that a module of core or summaries gives its method."""
    found: set[str] = set()
    for package in (joulebook.core, joulebook.summaries):
        for module in Path(package.__path__[0]).rglob("*.py"):
            text = module.read_text(encoding="utf-8")
            found.update(re.findall(r'^[A-Z_]*METHOD = "([a-z-]+-\d+)"$', text, re.MULTILINE))
    return found


def test_methods_are_found() -> None:
    assert {"trapezoid-1", "day-1", "sum-1", "idle-1"} <= _methods()


@pytest.mark.parametrize("method", sorted(_methods()))
def test_a_method_has_a_page_that_names_its_version(method: str) -> None:
    page = (PAGES / f"{method.rpartition('-')[0]}.md").read_text(encoding="utf-8")
    assert page.startswith("# ")
    assert f"`{method}`" in page.splitlines()[0]
    assert [part for part in PARTS if f"**{part}" not in page] == []


def test_no_page_is_left_over() -> None:
    named = {f"{method.rpartition('-')[0]}.md" for method in _methods()}
    assert {page.name for page in PAGES.glob("*.md")} == named
