"""The wire format's example files, which the bridge's tests read too, against the decoder."""

import ast
import json
import re
from pathlib import Path
from typing import Any

import pytest

from joulebook.ingest import decode as decode_module
from joulebook.ingest.decode import Decoder
from joulebook.ingest.message import Message

EXAMPLES = Path(__file__).parents[3] / "docs" / "wire-format"
VALID = sorted((EXAMPLES / "valid").glob("*.json"))
INVALID = sorted((EXAMPLES / "invalid").glob("*.json"))
KEYS = {"about", "topic", "received_ms", "verdict", "readings", "refused"}


def read(path: Path) -> tuple[dict[str, Any], bytes]:
    example: dict[str, Any] = json.loads(path.read_text("utf-8"))
    if "payload_hex" in example:
        return example, bytes.fromhex(example.pop("payload_hex"))
    return example, example.pop("payload_text").encode()


@pytest.mark.parametrize(
    "path", [*VALID, *INVALID], ids=lambda path: f"{path.parent.name}-{path.stem}"
)
def test_an_example_gives_the_readings_and_refusals_it_states(path: Path) -> None:
    example, payload = read(path)
    message = Message(example["topic"], payload, example["received_ms"], "bridge", "studio", 1)
    decoded = Decoder(lambda _name: None).decode(message)
    readings = [
        [layout.device, column.quantity, column.unit, at_ms, value]
        for layout, at_ms, (_, *values) in decoded.rows
        for column, value in zip(layout.columns, values, strict=True)
    ]
    assert readings == example["readings"]
    assert [type(one[4]) for one in readings] == [type(one[4]) for one in example["readings"]]
    assert [refused.reason for refused in decoded.refused] == example["refused"]
    assert decoded.verdict.value == example["verdict"]
    assert example.keys() == KEYS


def test_valid_examples_are_stored_whole_and_invalid_ones_are_not() -> None:
    assert len(VALID) > 15
    assert len(INVALID) > 25
    assert not any(read(path)[0]["refused"] for path in VALID)
    assert all(read(path)[0]["refused"] for path in INVALID)


def test_the_page_has_every_reason_that_the_code_gives_and_no_other() -> None:
    folder = Path(decode_module.__file__).parent
    literals = {
        node.value
        for path in folder.glob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    }
    given = {text for text in literals if re.fullmatch(r"[a-z]+(-[a-z]+)+", text)} - {"utf-8-sig"}
    page = (EXAMPLES.parent / "wire-format.md").read_text("utf-8")
    table = page.partition("| reason |")[2].partition("\n\n")[0]
    told = set(re.findall(r"`([a-z-]+)`", table))
    assert told == given | {"negative"}
