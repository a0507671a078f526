"""Payloads made to crash, to take for ever or to fill the memory; each was found by fuzzing.

What is asserted of memory is what is remembered of senders: it is bounded whatever they make up.
"""

import json
import tracemalloc
from decimal import Decimal

import cbor2
import pytest

from joulebook.ingest.decode import Decoder
from joulebook.ingest.expectations import MOST_NAME
from joulebook.ingest.layouts import Layouts
from joulebook.ingest.mapping.file import parse_mappings
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.outcomes import MOST_PARTS, Decoded
from joulebook.ingest.quick import read_quickly
from joulebook.ingest.senml_fields import MAX_PACK_BYTES
from joulebook.ingest.units import MOST_UNIT, conversion
from joulebook.storage.records import Column
from tests.helpers.fuzz_corpus import RULES
from tests.helpers.packs import NOW_MS, message, readings

MAPPINGS = Mappings(parse_mappings(RULES.replace("garden", "studio"), "rules.toml"))


def decoder() -> Decoder:
    return Decoder({"studio": 1}.get, MAPPINGS)


def decoded(payload: bytes, topic: str = "joulebook/v1/studio/battery") -> Decoded:
    return decoder().decode(Message(topic, payload, NOW_MS, "bridge", "studio", 1))


DEEP = {
    "lists": b"[" * 200_000,
    "closed lists": b"[" * 100_000 + b"]" * 100_000,
    "objects": b'{"n":' * 40_000,
    "a value": b'[{"n":"power","v":' + b"[" * 100_000,
    "an unknown label": b'[{"n":"power","u":"W","v":1,"x":' + b"[" * 90_000 + b"]" * 90_000 + b"}]",
    "CBOR lists": b"\x81" * 200_000,
    "CBOR maps": b"\xa1\x00" * 100_000,
    "CBOR lists without end": b"\x9f" * 200_000,
    "CBOR tags": b"\xc4" * 200_000,
}


@pytest.mark.parametrize("topic", ["joulebook/v1/studio/battery", "kiln/2/state", "clamp/a"])
@pytest.mark.parametrize("payload", DEEP.values(), ids=DEEP.keys())
def test_nesting_without_end_is_refused_and_not_followed(payload: bytes, topic: str) -> None:
    found = decoded(payload, topic)
    assert found.verdict is Verdict.QUARANTINED
    assert found.refused


@pytest.mark.parametrize(
    "number", ["1e99999999999999999999", "9e999999", "1e1000000", "-9.9e999999"]
)
@pytest.mark.parametrize(
    ("topic", "payload"),
    [
        ("kiln/2/state", '{"at": 1780000000000, "lines": [NUMBER]}'),
        ("kiln/2/state", '{"at": NUMBER, "lines": [1]}'),
        ("clamp/a", "NUMBER"),
        ("clamp/a", '"NUMBER"'),
        ("joulebook/v1/studio/battery", '[{"n":"power","u":"W","v":NUMBER}]'),
        ("joulebook/v1/studio/battery", '[{"n":"power","u":"W","v":1,"t":NUMBER}]'),
    ],
)
def test_numbers_beyond_every_float(topic: str, payload: str, number: str) -> None:
    found = decoded(payload.replace("NUMBER", number).encode(), topic)
    assert found.verdict is Verdict.QUARANTINED
    assert found.rows == []


def test_decimal_fractions_of_cbor_are_not_written_out() -> None:
    # 10**(10**9) has a thousand million digits (RFC 8949 §10 warns of it).
    for exponent, mantissa, verdict in (
        (10**9, 1, Verdict.QUARANTINED),
        (-(10**9), 1, Verdict.STORED),  # it is 0 to the last bit of a float
        (2, 10**60_000, Verdict.QUARANTINED),
    ):
        value = cbor2.CBORTag(4, [exponent, mantissa])
        assert decoded(cbor2.dumps([{0: "power", 1: "W", 2: value}])).verdict is verdict
    assert Decimal(1).scaleb(3) == 1000


def test_a_label_twice_among_thousands_is_found_in_one_pass() -> None:
    labels = [f'"{number:x}":0' for number in range(25_000)]
    found = decoded(f"[{{{','.join(labels)},{labels[-1]}}}]".encode())
    assert [one.reason for one in found.refused] == ["field-duplicate"]
    # Counting each label anew took 25,000 passes of 25,000: a quarter of a minute.


# Memory


def test_a_long_base_name_is_not_repeated_for_each_record() -> None:
    records = ",".join(['{"n":"a","u":"V"}'] * 5000)  # none has a value: each is a fault
    for label in ("bn", "bu"):
        pack = f'[{{"{label}":"{"x" * 150_000}","n":"b","u":"V","v":1}},{records}]'.encode()
        assert len(pack) < MAX_PACK_BYTES
        tracemalloc.start()
        found = decoded(pack)
        peak = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert [one.reason for one in found.refused] == ["field-too-long"]
        assert peak < 20_000_000  # 5000 times 150,000 would be 750 million


def test_a_pack_of_many_faults_is_kept_once() -> None:
    good = {"n": "voltage", "u": "V", "v": 53.1}
    bad = [{"n": f"q{number}", "u": "furlong", "v": 1} for number in range(MOST_PARTS + 1)]
    few, many = (decoder().decode(message([good, *faulty])) for faulty in (bad[:MOST_PARTS], bad))
    assert (len(few.refused), len(many.refused)) == (MOST_PARTS, 1)
    (whole,) = many.refused
    assert json.loads(whole.payload) == [good, *bad]
    assert (whole.reason, many.verdict) == ("unit-unknown", Verdict.STORED)
    assert whole.detail.endswith(f"; and {MOST_PARTS - 4} more")
    mixed = decoder().decode(message([good, *bad, {"n": "x"}]))
    assert [one.reason for one in mixed.refused] == ["several-records"]
    assert readings(few) == readings(many) == readings(mixed)


def test_what_is_remembered_of_made_up_shapes_is_bounded() -> None:
    one = decoder()
    tracemalloc.start()
    for number in range(80):
        names = [f"q{number}-{place}" for place in range(200)]
        one.decode(message([{"n": name, "u": "V", "v": 1.0} for name in names]))
        one.decode(message([{"n": f"{number}-{'x' * 50_000}", "u": "V", "v": 1.0}]))
        one.decode(message([{"n": "voltage", "u": f"{number}-{'x' * 50_000}", "v": 1.0}]))
    kept = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    # All of it would be 80 times 200 names and 80 times 100,000 characters: 10 MB.
    assert kept < 1_500_000


def test_wide_packs_are_read_all_the_same() -> None:
    names = [f"q{place}" for place in range(400)]
    one = decoder()
    for value in (1.0, 2.0):
        found = one.decode(message([{"n": name, "u": "V", "v": value} for name in names]))
        assert [each[4] for each in readings(found)] == [value] * 400


def test_long_units_are_none() -> None:
    assert conversion("x" * (MOST_UNIT + 1), "x" * (MOST_UNIT + 1)) is None
    assert conversion("x" * MOST_UNIT, "x" * MOST_UNIT) is not None
    for long in (
        {"n": "n" * (MOST_NAME + 1), "u": "V", "v": 1.0},
        {"n": "q", "u": "u" * 65, "v": 1},
    ):
        assert decoder().decode(message([long])).verdict is Verdict.QUARANTINED


def test_packs_that_are_too_long_are_not_read_quickly_either() -> None:
    pack = b'[{"n":"power","v":1}' + b" " * MAX_PACK_BYTES + b"]"
    assert read_quickly(pack) is None
    assert [one.reason for one in decoded(pack).refused] == ["payload-too-large"]


def test_layouts_of_many_columns_are_not_kept() -> None:
    layouts = Layouts()
    few = tuple(Column(f"q{number}", "V") for number in range(Layouts.MOST_COLUMNS))
    many = (*few, Column("more", "V"))
    assert layouts.get(1, "battery", few) is layouts.get(1, "battery", few)
    assert layouts.get(1, "battery", many) is not layouts.get(1, "battery", many)
