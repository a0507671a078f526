"""Packs that RFC 8428 prints, and what its sections say of the rest."""

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from joulebook.ingest.senml import Record, instant_ms, pack_of, resolve

RFC = json.loads((Path(__file__).parents[2] / "data" / "senml.json").read_text("utf-8"))
NOW_MS = 1_780_000_000_000


def records(pack: Sequence[Mapping[str, Any]], received_ms: int = NOW_MS) -> list[Record]:
    resolved = resolve(json.dumps(pack).encode(), received_ms)
    assert resolved.faults == []
    return resolved.records


def brief(found: list[Record]) -> list[list[Any]]:
    return [[record.name, record.unit, record.at_ms, record.value] for record in found]


def test_a_base_name_goes_before_the_names_that_follow() -> None:
    # CV-30: RFC 8428 §5.1.2, first example, as printed.
    pack = [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "u": "A", "v": 1.2},
    ]
    assert brief(records(pack)) == [
        ["urn:dev:ow:10e2073a01080063:voltage", "V", NOW_MS, 120.1],
        ["urn:dev:ow:10e2073a01080063:current", "A", NOW_MS, 1.2],
    ]


def test_relative_times_count_from_the_base_time_and_records_come_in_order() -> None:
    # CV-31: RFC 8428 §5.1.2, second example; times by §4.5.3 and order by §4.6.
    assert brief(records(RFC["5.1.2b"])) == RFC["5.1.2b_resolved_ms"]


def test_the_rfcs_long_example_resolves_to_its_printed_form() -> None:
    # CV-32: RFC 8428 §5.1.3 against §5.1.4.
    expected = [[one["n"], one["u"], round(one["t"] * 1000), one["v"]] for one in RFC["5.1.4"]]
    assert brief(records(RFC["5.1.3"])) == expected


def test_a_base_time_outlives_a_change_of_base_name() -> None:
    # CV-33: RFC 8428 §5.1.6.
    expected = [[name, unit, at * 1000, v] for name, unit, at, v in RFC["5.1.6_resolved"]]
    assert brief(records(RFC["5.1.6"])) == expected


def test_the_rfcs_cbor_dump_is_its_json_example() -> None:
    # CV-34: RFC 8428 §6, 195 bytes.
    payload = bytes.fromhex(RFC["6_cbor_hex"])
    assert len(payload) == 195
    resolved = resolve(payload, NOW_MS)
    assert resolved.faults == []
    got = [[name.rpartition(":")[2], *rest] for name, *rest in brief(resolved.records)]
    assert got == [[n.rpartition(":")[2], *rest] for n, *rest in RFC["5.1.2b_resolved_ms"]]


def test_texts_flags_and_data_have_types_of_their_own() -> None:
    # CV-35: RFC 8428 §5.1.5 and §4.3; "aGkgCg" is base64url without padding.
    pack: list[dict[str, Any]] = [
        {"n": "label", "vs": "Machine Room"},
        {"n": "open", "vb": False},
        {"n": "tag", "vd": "aGkgCg"},
    ]
    assert [record.value for record in records(pack)] == ["Machine Room", False, b"hi \n"]
    assert [record.kind for record in records(pack)[:2]] == ["text", "flag"]


def test_cbor_carries_data_as_bytes() -> None:
    resolved = resolve(bytes.fromhex("81a200617808420102"), NOW_MS)
    assert brief(resolved.records) == [["x", "", NOW_MS, b"\x01\x02"]]


@pytest.mark.parametrize(
    ("base_s", "time_s", "received_ms", "expected_ms"),
    [
        # CV-36: RFC 8428 §4.5.3; 2^28 s is 1978-07-04T21:24:16Z.
        (0, 268_435_455, 1000, 268_435_455_000 + 1000),
        (0, 268_435_456, 1000, 268_435_456_000),
        (268_435_450, 10, 1000, 268_435_460_000),  # CV-36b: the sum counts
        (0, -60, 1_700_000_000_000, 1_699_999_940_000),  # CV-36c
        (0, 0, 1_700_000_000_123, 1_700_000_000_123),
        (1_276_020_076.001, -5, 0, 1_276_020_071_001),
        (1_779_999_995.9996, 0, 0, 1_779_999_996_000),
    ],
)
def test_a_sum_of_2_to_28_seconds_is_a_date(
    base_s: float, time_s: float, received_ms: int, expected_ms: int
) -> None:
    pack = [{"bt": base_s, "t": time_s, "n": "voltage", "u": "V", "v": 1}]
    assert records(pack, received_ms)[0].at_ms == expected_ms
    assert instant_ms(base_s + time_s, received_ms) == expected_ms


def test_every_millisecond_of_today_survives_its_decimal_form() -> None:
    for ms in range(1000):
        assert instant_ms(float(f"1780000000.{ms:03}"), 0) == 1_780_000_000_000 + ms


def test_base_value_and_base_sum_are_added() -> None:
    # CV-37: RFC 8428 §4.5.4 and §4.2: a record with a sum alone is legal.
    pack: list[dict[str, Any]] = [
        {"bv": 20, "bs": 100, "n": "a", "v": 1.5},
        {"n": "b", "s": 5},
        {"n": "c"},
        {"n": "d", "vs": "text"},
    ]
    got = [(record.name, record.value, record.sum) for record in records(pack)]
    assert got == [("a", 21.5, 100.0), ("b", None, 105.0), ("c", None, 100.0), ("d", "text", 100.0)]


def test_a_base_value_alone_is_the_value() -> None:
    # RFC 8428 §4.5.4: a missing value counts as zero where there is a base value.
    assert [record.value for record in records([{"bv": 20, "n": "a"}, {"n": "b", "v": -0.5}])] == [
        20.0,
        19.5,
    ]


def test_a_sum_has_no_value() -> None:
    (record,) = records([{"n": "energy", "u": "W", "s": 3_600_000}])
    assert (record.value, record.sum, record.unit) == (None, 3_600_000.0, "W")


@pytest.mark.parametrize("version", [None, 10, 26, 5, 1])
def test_versions_that_are_read(version: int | None) -> None:
    # CV-39b, 39d: RFC 9100 §2-4; RFC 8428 §4.4 and its example with 5.
    base = {} if version is None else {"bver": version}
    assert len(records([{**base, "n": "a", "v": 1}, {**base, "n": "b", "v": 2}])) == 2


@pytest.mark.parametrize("name", ["bat/voltage", "a:b.c-d_e", "0", "Z9"])
def test_legal_names(name: str) -> None:
    # CV-39f: RFC 8428 §4.5.1.
    assert records([{"n": name, "v": 1}])[0].name == name
    assert records([{"bn": name, "v": 1}])[0].name == name


def test_an_unknown_label_is_passed_over() -> None:
    # CV-39e: RFC 8428 §4.4.
    assert brief(records([{"n": "a", "v": 1, "foo": [{"x": 1}], "l": "link"}])) == [
        ["a", "", NOW_MS, 1.0]
    ]


def test_an_empty_unit_is_no_unit() -> None:
    assert records([{"bu": "V", "n": "a", "u": "", "v": 1}])[0].unit == "V"


@pytest.mark.parametrize(
    "record",
    [
        Record(1, "voltage", "V", NOW_MS + 1, 53.1),
        Record(1, "mode", "", NOW_MS, "float, öl"),
        Record(1, "open", "", NOW_MS, True),
        Record(1, "tag", "", NOW_MS, b"\xff\x00"),
        Record(1, "energy", "W", NOW_MS, None, 5.0),
        Record(1, "big", "V", NOW_MS, float("inf")),
    ],
)
def test_a_record_survives_as_a_pack_of_its_own(record: Record) -> None:
    payload = pack_of(record)
    resolved = resolve(payload, 0)
    if record.name == "big":
        assert [fault.reason for fault in resolved.faults] == ["value-not-finite"]
    else:
        assert resolved.records == [record]
