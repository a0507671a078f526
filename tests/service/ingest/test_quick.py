"""The quick way must give what the slow way gives, and leave what it does not understand."""

import json
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from joulebook.ingest import decode as decode_module
from joulebook.ingest.decode import Decoder
from joulebook.ingest.layouts import Layout
from joulebook.ingest.quick import Plan, read_quickly
from joulebook.ingest.senml import resolve
from tests.helpers.packs import NOW_MS, message, readings

PLAIN = [
    {"bt": 1_779_999_995, "n": "voltage", "u": "V", "v": 53.1},
    {"n": "current", "u": "A", "v": -21.4},
]


@pytest.mark.parametrize(
    "pack",
    [
        PLAIN,
        [{"n": "voltage", "u": "V", "v": 53}],
        [{"bn": "cell_", "bu": "V", "n": "min", "v": 3.3}, {"n": "max", "v": 3.4}],
        [{"n": "a", "t": -5, "v": 1}, {"n": "b", "t": -5, "v": 2}],
        [{"bt": 1_779_999_990, "n": "a", "t": 5, "v": 1}, {"n": "b", "t": 5, "v": 2}],
        [{"bu": "A", "n": "a", "u": "", "v": 1}],
        [{"bver": 26, "n": "a", "u": "kWh", "v": 1}, {"n": "b", "u": "kWh", "v": 1}],
    ],
)
def test_plain_packs_of_one_instant_are_read_quickly(pack: list[dict[str, Any]]) -> None:
    payload = json.dumps(pack).encode()
    quick = read_quickly(payload)
    assert quick is not None
    slow = resolve(payload, NOW_MS).records
    assert quick.shape().names_and_units() == [(record.name, record.unit) for record in slow]
    plan = Plan(quick.shape(), Layout(1, "battery", ()), [], [])
    assert quick.fits(plan)
    at_ms = quick.at_ms(plan, NOW_MS)
    assert [(at_ms, value) for value in quick.values()] == [(r.at_ms, r.value) for r in slow]


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"[]",
        b"nonsense",
        b"\xff",
        b"\x81\xa1\x00\x61a",
        b'[{"n":"a","v":1,"v":2}]',  # a label twice
        b'[{"n":"a","n":"b","v":1}]',
        b'[{"n":"a","v":1},{"bt":5,"n":"b","v":2}]',  # a base field further down
        b'[{"n":"a","v":1},{"n":"b","t":5,"v":2}]',  # two times
        b'[{"n":"a","t":5,"v":1},{"n":"b","v":2}]',
        b'[{"n":"a","t":5,"v":1},{"n":"b","t":6,"v":2}]',
        b'[{"n":"a\\"","v":1}]',  # an escape
        b'[{"n":"a","v":true}]',
        b'[{"n":"a","v":"1"}]',
        b'[{"n":"a","v":null}]',
        b'[{"n":"a","u":null,"v":1}]',
        b'[{"n":"a","v":1e999}]',
        b'[{"n":"a","vs":"x"}]',
        b'[{"n":"a","v":1,"foo_":1}]',
        b'[{"n":"a","v":1,"bver":27}]',
        b'[{"n":"a","v":1,"bver":true}]',
        b'[{"n":"a","v":1},{"n":"b","v":1,"bver":10}]',
        b'[{"n":"a","v":1,"s":1}]',
        b'[{"v":1}]',
        b'[{"bt":1e300,"n":"a","v":1}]',
    ],
)
def test_everything_else_is_left_to_the_slow_way(payload: bytes) -> None:
    pack = read_quickly(payload)
    if pack is not None:
        plan = Plan(pack.shape(), Layout(1, "battery", ()), [], [])
        assert pack.at_ms(plan, NOW_MS) is None


def slowly(decoder: Decoder, payload: bytes) -> Any:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(decode_module, "read_quickly", lambda _payload: None)
        return decoder.decode(message(payload))


NAMES = st.sampled_from(
    ["voltage", "current", "soc", "charge_energy", "temperature", "fan", "-x", "", "é"]
)
UNITS = st.sampled_from(["V", "A", "/", "%", "%EL", "Wh", "kWh", "K", "Cel", "", "furlong", "mV"])
NUMBERS = st.floats(allow_nan=False, allow_infinity=False) | st.integers(-100, 100)
TIMES = st.sampled_from([0, -5, 5, 1_779_999_990, 1_779_999_990.25, 1e9, 2e9, 1e300])
FIELDS: dict[str, st.SearchStrategy[Any]] = {"n": NAMES, "v": NUMBERS}
OPTIONAL = {
    "u": UNITS,
    "t": TIMES,
    "bt": TIMES,
    "bn": st.sampled_from(["", "x"]),
    "bu": UNITS,
    "bv": NUMBERS,
    "s": NUMBERS,
    "bver": st.sampled_from([10, 26, 27]),
    "foo": st.none(),
    "foo_": st.none(),
}
RECORDS = st.fixed_dictionaries(
    FIELDS, optional={"u": UNITS, "t": st.just(-5)}
) | st.fixed_dictionaries(FIELDS, optional=OPTIONAL)


@given(st.lists(RECORDS, min_size=1, max_size=4))
@example([{"n": "charge_energy", "u": "kWh", "v": 1e308}])
@example([{"n": "voltage", "u": "V", "v": 1}, {"n": "voltage", "u": "V", "v": 2}])
@example([{"n": "voltage", "u": "V", "v": -0.0}])
@settings(derandomize=True, deadline=None, max_examples=600)
def test_both_ways_give_the_same(pack: list[dict[str, Any]]) -> None:
    payload = json.dumps(pack).encode()
    decoder = Decoder(lambda _name: None)
    quick = decoder.decode(message(payload))
    slow = slowly(decoder, payload)
    assert readings(quick) == readings(slow)
    assert quick.refused == slow.refused
    assert quick.verdict is slow.verdict


OTHERS = [
    [PLAIN[0], {"n": "current", "u": "mA", "v": 5}],
    [PLAIN[0], {"n": "power", "u": "A", "v": 5}],
    [PLAIN[0] | {"bn": "cell_"}, PLAIN[1]],
    [PLAIN[0] | {"bu": "V"}, {"n": "current", "v": 5}],
    [PLAIN[0]],
    [*PLAIN, {"n": "power", "u": "W", "v": 5}],
]


@pytest.mark.parametrize("other", OTHERS)
def test_a_pack_of_another_shape_is_not_taken_for_the_last_one(other: list[dict[str, Any]]) -> None:
    decoder = Decoder(lambda _name: None)
    decoder.decode(message(PLAIN))
    decoded = decoder.decode(message(other))
    assert readings(decoded) == readings(slowly(decoder, json.dumps(other).encode()))
    assert len(readings(decoder.decode(message(PLAIN)))) == 2
