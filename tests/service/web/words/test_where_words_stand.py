"""English for readers stands in web/words and in templates; this finds sentences elsewhere.

A sentence is what begins with a capital and ends with a period. Refusals (``ProblemError``) are
parts of sentences and stay where they are raised; what describes the API for programs and the
metrics is no page.
"""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

import joulebook.web

WEB = Path(joulebook.web.__file__).parent
FOR_PROGRAMS = {"api", "watch"}
SENTENCE = re.compile(r"[A-Z{].* .*\.", re.DOTALL)
FILES = [
    file
    for file in sorted(WEB.rglob("*.py"))
    if file.relative_to(WEB).parts[0] not in {"words", *FOR_PROGRAMS}
]


def sentences_in(source: str) -> list[str]:
    """Return the literals that read as sentences; docstrings and descriptions are none."""
    tree = ast.parse(source)
    documented = {id(text) for text in [*docstrings(tree), *descriptions(tree)]}
    texts = [
        *(
            node.value
            for node in ast.walk(tree)
            if isinstance(node, ast.Constant)
            and isinstance(node.value, str)
            and id(node) not in documented
        ),
        *(filled(node) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr)),
    ]
    return [text for text in texts if SENTENCE.fullmatch(text.strip())]


def docstrings(tree: ast.Module) -> Iterator[ast.expr]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
            yield node.value


def descriptions(tree: ast.Module) -> Iterator[ast.expr]:
    """What an argument ``description`` says goes into the API's document."""
    for node in ast.walk(tree):
        if isinstance(node, ast.keyword) and node.arg == "description":
            yield from (part for part in ast.walk(node.value) if isinstance(part, ast.expr))


def filled(node: ast.JoinedStr) -> str:
    parts = (part.value if isinstance(part, ast.Constant) else "{}" for part in node.values)
    return "".join(map(str, parts))


@pytest.mark.parametrize("file", FILES, ids=lambda file: str(file.relative_to(WEB)))
def test_no_sentence_stands_outside_of_words(file: Path) -> None:
    assert sentences_in(file.read_text(encoding="utf-8")) == []


def test_sentences_are_found() -> None:
    source = (
        '"""A docstring is none."""\nA = "The link leads nowhere."\nB = f"{name} opens it."\n'
        'C = "the address"\nD = "Bought"\nE = "image/svg+xml"\nF = f"{a}.{b}"\n'
        'G = Path(description="A name of the site.")\n'
    )
    assert sentences_in(source) == ["The link leads nowhere.", "{} opens it."]
