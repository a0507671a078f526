"""What is no pack, what is no record, and that one bad record costs itself only."""

import json
from typing import Any

import cbor2
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from joulebook.ingest.senml import Pack, resolve
from joulebook.ingest.senml_fields import MAX_PACK_BYTES, PackError, write_fields

NOW_MS = 1_780_000_000_000


def outcome(payload: bytes) -> Pack | PackError:
    try:
        return resolve(payload, NOW_MS)
    except PackError as refused:
        return refused


def refusal(payload: bytes) -> PackError:
    refused = outcome(payload)
    assert isinstance(refused, PackError)
    return refused


GOOD = {"n": "voltage", "u": "V", "v": 53.1}


@pytest.mark.parametrize(
    ("payload", "reason", "said"),
    [
        (b"", "payload-empty", "empty"),
        (b"hello", "json-malformed", "at character 1"),
        (b'[{"n":"a","v":1}', "json-malformed", "at character 17"),
        (b'[{"n":"a","v":1}]]', "json-malformed", "Extra data at character 18"),
        (b'[{"n":"a","v":NaN}]', "json-malformed", "NaN is no JSON number"),
        (b'[{"n":"a","v":-Infinity}]', "json-malformed", "-Infinity is no JSON number"),
        (b'[{"n":"\xff","v":1}]', "json-malformed", "byte 8 is neither UTF-8 nor"),
        (b"\xef\xbb\xbf[]", "json-malformed", "BOM"),
        (b"{}", "pack-malformed", "the pack is an object"),
        (b"null", "pack-malformed", "the pack is null"),
        (b'"a"', "pack-malformed", "the pack is a text"),
        (b"true", "pack-malformed", "the pack is true or false"),
        (b"7", "pack-malformed", "the pack is a number"),
        (b"[]", "pack-malformed", "empty list"),
        (b"\x80", "pack-malformed", "empty list"),
        (b"[[]]", "pack-malformed", "record 1 is a list"),
        (b'[{"n":"a","v":1},3]', "pack-malformed", "record 2 is a number"),
        (b'[{"n":"a","v":[1]}]', "pack-malformed", "record 1 has a list for v"),
        (b"\x81\xf7", "pack-malformed", "record 1 is something else"),
        (b'[{"n":"a","n":"b","v":1}]', "field-duplicate", "'n' comes twice"),
        (b"\x81\xa2\x00\x61a\x00\x61b", "field-duplicate", "Duplicate"),
        (b"\x81\xa2\x00\x61a\x61n\x61b", "field-duplicate", "'n' comes twice"),
        (b"\x81\xa1\x18\x64\x01", "field-unknown", "100 is no CBOR label"),
        (b"\x81\xa1\x09\x01", "field-unknown", "9 is no CBOR label"),
        (b"\x81\xa1\xf5\x01", "field-unknown", "True is no CBOR label"),
        (b"\x81\xa1\x41a\x01", "field-unknown", "b'a' is no CBOR label"),
        (b'[{"n":"a","v":1,"foo_":1}]', "field-unknown", "'foo_', which must be understood"),
        (b'[{"bver":27,"n":"a","v":1}]', "version-unsupported", "is 27"),
        (b'[{"bver":42,"n":"a","v":1}]', "version-unsupported", "is 42"),
        (b'[{"bver":11,"n":"a","v":1}]', "version-unsupported", "is 11"),
        (b'[{"bver":0,"n":"a","v":1}]', "version-unsupported", "is 0"),
        (b'[{"bver":-1,"n":"a","v":1}]', "version-unsupported", "is -1"),
        (b'[{"bver":10.0,"n":"a","v":1}]', "version-unsupported", "is 10.0"),
        (b'[{"bver":true,"n":"a","v":1}]', "version-unsupported", "is True"),
        (b'[{"bver":10,"n":"a","v":1},{"bver":26}]', "version-unsupported", "changes from 10 to"),
        (b'[{"bn":1,"n":"a","v":1}]', "field-wrong-type", "bn of record 1"),
        (b'[{"bu":null,"n":"a","v":1}]', "field-wrong-type", "bu of record 1"),
        (b'[{"bt":"x","n":"a","v":1}]', "field-wrong-type", "bt of record 1"),
        (b'[{"bv":true,"n":"a","v":1}]', "field-wrong-type", "bv of record 1"),
        (b'[{"bs":1e999,"n":"a","v":1}]', "field-wrong-type", "bs of record 1"),
    ],
)  # fmt: skip
def test_what_spoils_the_pack_refuses_it(payload: bytes, reason: str, said: str) -> None:
    refused = refusal(payload)
    assert refused.reason == reason
    assert said in refused.detail


@pytest.mark.parametrize(
    ("letter", "times", "reason", "said"),
    [
        (b" ", MAX_PACK_BYTES + 1, "payload-too-large", "at most 262144"),
        (b"[", 100_000, "pack-malformed", "nested too deep"),
        (b"9", 5000, "json-malformed", "too many digits"),
        (b"\x81", 100_000, "cbor-malformed", "nesting"),
    ],
)
def test_bombs_are_refused(letter: bytes, times: int, reason: str, said: str) -> None:
    refused = refusal(letter * times)
    assert refused.reason == reason
    assert said in refused.detail


@pytest.mark.parametrize(
    ("payload", "said"),
    [
        ("9b3fffffffffffffff01", "end of stream"),  # a list of 4.6e18 records
        ("815b3fffffffffffffff01", "end of stream"),  # a text of 4.6e18 bytes
        ("81bb3fffffffffffffff01", "end of stream"),  # a record of 4.6e18 fields
        ("8181818181818101", "nesting"),
        ("81a10061ff", "text"),  # no UTF-8
        ("81a1006161ff", "1 bytes follow"),
        ("8101ff", "1 bytes follow"),
        ("81ff", "break"),
        ("811c", "0x1c"),
        ("81a102d82363286129", "tag 35"),  # a regular expression
        ("81a102d81c80", "tag 28"),  # a shared reference
        ("81a102c11a67000000", "tag 1"),  # a date
        ("81a102d9aaf701", "tag 43767"),  # a tag that nobody knows
        ("81a102c482016161", "decimal fraction"),
        ("81a102c482", "end of stream"),
    ],
)
def test_cbor_that_is_none_is_refused_at_once(payload: str, said: str) -> None:
    refused = refusal(bytes.fromhex(payload))
    assert refused.reason == "cbor-malformed"
    assert said in refused.detail


def test_a_cbor_pack_that_describes_itself_is_no_list_at_first_sight() -> None:
    # Tag 55799 in front: D9 is no list's first byte, and JSON does not begin so either.
    assert refusal(bytes.fromhex("d9d9f781a100617802")).reason == "json-malformed"


@pytest.mark.parametrize(
    ("fields", "reason", "said"),
    [
        ({"n": "-x", "v": 1}, "name-illegal", "record 2 ('-x')"),
        ({"n": "a b", "v": 1}, "name-illegal", "('a b')"),
        ({"n": "é", "v": 1}, "name-illegal", "('é')"),
        ({"v": 1}, "name-illegal", "('')"),
        ({"n": 7, "v": 1}, "field-wrong-type", "has 7 for n"),
        ({"n": "a", "u": 7, "v": 1}, "field-wrong-type", "record 2 (a) has 7 for u"),
        ({"n": "a"}, "value-missing", "record 2 (a) has neither"),
        ({"n": "a", "v": 1, "vs": "x"}, "value-several", "has v and vs"),
        ({"n": "a", "v": "53"}, "field-wrong-type", "has '53' for v"),
        ({"n": "a", "v": True}, "field-wrong-type", "has True for v"),
        ({"n": "a", "v": None}, "field-wrong-type", "has None for v"),
        ({"n": "a", "v": 10**400}, "value-not-finite", "for v; expected a finite number"),
        ({"n": "a", "s": "x"}, "field-wrong-type", "for s"),
        ({"n": "a", "v": 1, "ut": "soon"}, "field-wrong-type", "for ut"),
        ({"n": "a", "v": 1, "t": "now"}, "field-wrong-type", "for t"),
        ({"n": "a", "v": 1, "t": 1e300}, "time-wrong", "has the time 1e+300 s"),
        ({"n": "a", "vs": 7}, "field-wrong-type", "has 7 for vs"),
        ({"n": "a", "vs": "\ud800"}, "field-wrong-type", "half a character"),
        ({"n": "a", "vb": 1}, "field-wrong-type", "has 1 for vb"),
        ({"n": "a", "vd": "%"}, "field-wrong-type", "base64url"),
        ({"n": "a", "vd": 7}, "field-wrong-type", "base64url"),
        ({"n": "x" * 1000, "v": "x"}, "field-wrong-type", "xxx…)"),
    ],
)
def test_what_spoils_a_record_costs_that_record(
    fields: dict[str, Any], reason: str, said: str
) -> None:
    pack = resolve(json.dumps([GOOD, fields, GOOD | {"n": "later"}]).encode(), NOW_MS)
    assert [record.name for record in pack.records] == ["voltage", "later"]
    (fault,) = pack.faults
    assert (fault.reason, said in fault.detail) == (reason, True), fault.detail
    # What was sent is kept as a pack that fails in the same way again.
    again = resolve(fault.payload, NOW_MS)
    assert [one.reason for one in again.faults] == [reason]


@pytest.mark.parametrize("power", [None, 70_000, 1025])
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_numbers_that_no_float_holds_cost_their_record(power: int | None, sign: float) -> None:
    value = sign * float("inf") if power is None else int(sign) * 2**power
    payload = cbor2.dumps([{0: "voltage", 1: "V", 2: 53.1}, {0: "current", 1: "A", 2: value}])
    pack = resolve(payload, NOW_MS)
    assert [record.name for record in pack.records] == ["voltage"]
    (fault,) = pack.faults
    assert fault.reason == "value-not-finite"
    assert resolve(fault.payload, NOW_MS).faults[0].reason == "value-not-finite"


def test_a_decimal_fraction_beyond_all_floats_is_found_so_at_once() -> None:
    # [2147483647, 1]: a number of two thousand million digits.
    pack = resolve(bytes.fromhex("81a200617802c4821a7fffffff01"), NOW_MS)
    assert [fault.reason for fault in pack.faults] == ["value-not-finite"]


def test_base_fields_of_a_bad_record_hold_for_the_next() -> None:
    pack = resolve(b'[{"bn":"cell_","bu":"V","n":"min","v":"x"},{"n":"max","v":3.3}]', NOW_MS)
    assert [(record.name, record.unit) for record in pack.records] == [("cell_max", "V")]
    assert json.loads(pack.faults[0].payload)[0]["bu"] == "V"


SCALARS = (
    st.none()
    | st.booleans()
    | st.integers()
    | st.floats()
    | st.text(max_size=5)
    | st.binary(max_size=5)
)
LABELS = st.sampled_from(
    ["bn", "bt", "bu", "bv", "bs", "bver", "n", "u", "v", "vs", "vb", "vd", "s", "t", "ut"]
)


@given(
    st.lists(
        st.dictionaries(LABELS | st.text(max_size=3) | st.integers(-6, 8), SCALARS), max_size=5
    )
)
@settings(derandomize=True, deadline=None, max_examples=500)
def test_any_fields_resolve_or_are_refused_with_a_reason(pack: list[dict[Any, Any]]) -> None:
    resolved = outcome(cbor2.dumps(pack))
    if isinstance(resolved, PackError):
        assert resolved.reason
        assert resolved.detail
    else:
        assert len(resolved.records) + len(resolved.faults) == len(pack)
        assert all(fault.detail for fault in resolved.faults)


@given(st.binary(max_size=200))
@example(b"\x9f\xff")
@example(b"\x81\xbf\xff")
@settings(derandomize=True, deadline=None, max_examples=1000)
def test_any_bytes_resolve_or_are_refused_with_a_reason(payload: bytes) -> None:
    resolved = outcome(payload)
    if isinstance(resolved, PackError):
        assert resolved.reason
    else:
        assert resolved.records or resolved.faults


def test_fields_that_json_cannot_hold_are_kept_in_cbor() -> None:
    assert cbor2.loads(write_fields({"n": "a", "v": float("inf")})) == [{0: "a", 2: float("inf")}]
    assert write_fields({"n": "é", "v": 1.5}) == b'[{"n":"\\u00e9","v":1.5}]'
