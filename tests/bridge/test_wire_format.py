"""The bridge's side of docs/wire-format/: what it makes is what the examples show."""

import json
from pathlib import Path
from typing import Any

import pytest

from joulebook_bridge.errors import WrongError
from joulebook_bridge.pack import make_pack, pack_rows, parse_reading

EXAMPLES = Path(__file__).parents[2] / "docs" / "wire-format" / "valid"

# Examples of what a sender may do besides: base names and values, times of its own, other types.
FIELDS_OF_OURS = {"bver", "bt", "n", "u", "v"}


def example(name: str) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Return an example and the records of its payload."""
    told = json.loads((EXAMPLES / f"{name}.json").read_text(encoding="utf-8"))
    return told, json.loads(told["payload_text"])


def of_ours(name: str) -> bool:
    """Tell whether an example is a JSON pack with nothing but fields that the bridge sends."""
    path = EXAMPLES / f"{name}.json"
    told = json.loads(path.read_text(encoding="utf-8"))
    records = json.loads(told.get("payload_text", "[]"))
    return bool(records) and all(set(record) <= FIELDS_OF_OURS for record in records)


NAMES = [name for name in sorted(path.stem for path in EXAMPLES.glob("*.json")) if of_ours(name)]


def typed(record: dict[str, Any]) -> str:
    return f"{record['n']}={record['v']}{record['u']}"


@pytest.mark.parametrize("name", ["one-instant", "milliseconds"])
def test_a_dated_example_is_made_byte_for_byte(name: str) -> None:
    told, records = example(name)
    at_ms = told["readings"][0][3]
    readings = [parse_reading(typed(record)) for record in records]
    assert make_pack(readings, at_ms).decode() == told["payload_text"]


@pytest.mark.parametrize("name", ["one-instant", "milliseconds", "no-time", "another-battery"])
def test_the_readings_of_an_example_typed_by_hand_make_its_records(name: str) -> None:
    told, records = example(name)
    stored = [(quantity, unit, value) for _, quantity, unit, _, value in told["readings"]]
    readings = [parse_reading(f"{quantity}={value}{unit}") for quantity, unit, value in stored]
    made = json.loads(make_pack(readings, told["readings"][0][3]))
    assert made[0].pop("bt") == told["readings"][0][3] / 1000
    records[0].pop("bt", None)
    assert made == records


def test_the_vocabularys_unit_may_be_left_out() -> None:
    told, records = example("one-instant")
    readings = [parse_reading(f"{record['n']}={record['v']}") for record in records]
    assert make_pack(readings, told["readings"][0][3]).decode() == told["payload_text"]


def test_a_pack_with_millivolts_says_version_26_as_the_example_does() -> None:
    told, records = example("version-26")
    [made] = json.loads(make_pack([parse_reading("voltage=53100mV")], told["received_ms"]))
    assert made == {**records[0], "bt": told["received_ms"] / 1000}


def test_every_unit_of_the_examples_is_sent_as_it_is_or_refused_here() -> None:
    # Never sent with another meaning: what the service reads is what was typed.
    sent = refused = 0
    for name in NAMES:
        for record in example(name)[1]:
            if record["u"] == "%":
                continue  # a person's percent is a hundredth; the bridge writes it /100
            try:
                reading = parse_reading(typed(record))
            except WrongError:
                refused += 1
                continue
            assert (reading.quantity, reading.value, reading.unit) == (
                record["n"],
                record["v"],
                record["u"],
            )
            sent += 1
    assert sent >= 12
    assert refused <= 4


def test_a_typed_percent_is_the_ratio_that_the_service_stores() -> None:
    told, _ = example("percent-is-a-ratio")
    reading = parse_reading("soc=61%")
    # "converted-units" stores 99.8 /100 as 0.998; "%" itself would have to be 0.61.
    assert reading.unit == "/100"
    assert reading.value / 100 == told["readings"][0][4]


@pytest.mark.parametrize("name", ["bridge-itself", "rows-that-waited"])
def test_what_a_running_bridge_sends_is_made_byte_for_byte(name: str) -> None:
    told, _ = example(name)
    rows: dict[int, dict[tuple[str, str], float]] = {}
    for _, quantity, unit, at_ms, value in told["readings"]:
        rows.setdefault(at_ms, {})[quantity, unit] = value
    columns = list(next(iter(rows.values())))
    made = pack_rows(columns, [(at_ms, list(row.values())) for at_ms, row in rows.items()])
    assert made.decode() == told["payload_text"]
