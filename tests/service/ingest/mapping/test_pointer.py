import json
from pathlib import Path

import pytest

from joulebook.ingest.mapping.pointer import PointerError, find, parse_pointer

VECTORS = json.loads((Path(__file__).parents[3] / "data" / "wire_vectors.json").read_text())
POINTERS = VECTORS["json_pointer"]


# RFC 6901 §5 (CV-50).
@pytest.mark.parametrize(("pointer", "value"), [*POINTERS["cases"], ("", POINTERS["document"])])
def test_pointers_lead_where_the_standard_says(pointer: str, value: object) -> None:
    assert find(POINTERS["document"], parse_pointer(pointer)) == value


# RFC 6901 §3 and §4 (CV-50).
@pytest.mark.parametrize(
    ("pointer", "why"),
    [
        ("/foo/2", "no /foo/2 in it, in a list of 2"),
        ("/foo/-", "no /foo/- in it"),
        ("/foo/00", "no /foo/00 in it"),
        ("/nope", "no /nope in it"),
        ("/foo/0/x", "what is before is no object and no list"),
        ("foo", "does not begin with '/'"),
        ("/foo/~2", "neither '~0' nor '~1'"),
        ("/foo~", "neither '~0' nor '~1'"),
    ],
)
def test_what_is_not_there_is_told(pointer: str, why: str) -> None:
    with pytest.raises(PointerError, match=why):
        find(POINTERS["document"], parse_pointer(pointer))
