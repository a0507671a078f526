"""The colours of the pages, and that nothing moves by itself."""

import re
from importlib import resources

import pytest

from tests.service.web.figures.test_palette import contrast

_STATIC = resources.files("joulebook.web") / "static"
_STYLES = {name: (_STATIC / name).read_text() for name in ("joulebook.css", "forms.css")}
_SCHEMES = ("light", "dark")
#: What is written, on what, and the least contrast: WCAG 2.2, 1.4.3 (text, 4.5), 1.4.6 (7 for what
#: is read most) and 1.4.11 (3 for what is no text).
_PAIRS = (
    ("ink", "paper", 7.0),
    ("ink", "tint", 7.0),
    ("quiet", "paper", 4.5),
    ("quiet", "tint", 4.5),
    ("link", "paper", 4.5),
    ("link", "tint", 4.5),
    ("paper", "link", 4.5),  # a button's words
    ("notice", "paper", 3.0),
    ("notice", "tint", 3.0),
)


def colours(scheme: str) -> dict[str, str]:
    """Return the colours of a scheme by name; the first block is light, the second dark."""
    blocks = re.findall(r":root \{(.*?)\}", _STYLES["joulebook.css"], flags=re.DOTALL)
    assert len(blocks) == 2
    return dict(re.findall(r"--(\w+): (#[0-9a-f]{6});", blocks[_SCHEMES.index(scheme)]))


@pytest.mark.parametrize("scheme", _SCHEMES)
@pytest.mark.parametrize(("front", "back", "least"), _PAIRS)
def test_what_is_written_can_be_told_from_its_paper(
    scheme: str, front: str, back: str, least: float
) -> None:
    named = colours(scheme)
    assert contrast(named[front], named[back]) >= least


@pytest.mark.parametrize("name", sorted(_STYLES))
def test_nothing_moves_by_itself(name: str) -> None:
    # WCAG 2.2, 2.2.2 and 2.3.3: there is no motion that a reader would have to stop.
    assert not re.search(r"animation|transition|@keyframes|scroll-behavior", _STYLES[name])


@pytest.mark.parametrize("name", sorted(_STYLES))
def test_no_colour_stands_outside_of_the_schemes(name: str) -> None:
    outside = re.sub(r":root \{.*?\}", "", _STYLES[name], flags=re.DOTALL)
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b|rgba?\(", outside) == []
