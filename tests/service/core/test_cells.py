"""How columns are headed and cells written, and that they are read as they were written."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.core.cells import cells_of, header_for, present, text_cell, text_of
from joulebook.core.quantities import ValueKind


@pytest.mark.parametrize(
    ("unit", "kind", "header"),
    [
        ("/", "number", "battery.soc [/]"),
        ("", "number", "battery.soc"),
        ("", "flag", "battery.soc [flag]"),
        ("", "text", "battery.soc [text]"),
    ],
)
def test_a_header_names_the_unit_or_the_kind(unit: str, kind: ValueKind, header: str) -> None:
    assert header_for("battery", "soc", unit, kind) == header


def test_cells_are_empty_where_nothing_is() -> None:
    numbers = np.array([1.5, np.nan, -0.0, 5e-324])
    assert cells_of(numbers, "number") == ["1.5", "", "-0.0", "5e-324"]
    flags = np.array([1.0, np.nan, 0.0])
    assert cells_of(flags, "flag") == ["true", "", "false"]
    texts = np.array(["idle", None, "", "\\", "a\\"], dtype=np.object_)
    assert cells_of(texts, "text") == ["idle", "", "\\", "\\\\", "a\\"]
    assert present(numbers).tolist() == [True, False, True, True]
    assert present(texts).tolist() == [True, False, True, True, True]


@given(st.text() | st.text("\\", max_size=4))
@settings(derandomize=True, deadline=None)
def test_every_text_comes_back_and_none_is_missing(text: str) -> None:
    assert text_cell(text) != ""
    assert text_of(text_cell(text)) == text
    assert text_of("") is None
