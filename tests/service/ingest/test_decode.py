"""From messages to rows: what the wire format's examples do not show."""

from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.ingest import decode as decode_module
from joulebook.ingest.decode import Decoder, Target
from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.quick import Plan, Shape
from joulebook.storage.records import Series
from tests.helpers.packs import NOW_MS, VOLTAGE, message, readings


def decoder() -> Decoder:
    return Decoder({"studio": 1, "barn": 2}.get)


def series(quantity: str, unit: str, device: str = "battery") -> Series:
    return Series(1, 1, 1, device, quantity, unit, "number", 0)


def test_a_message_from_a_trusted_broker_goes_to_the_site_of_its_topic() -> None:
    (row,) = decoder().decode(message([VOLTAGE], site="barn", bound=False)).rows
    assert row[0].site_id == 2


def test_an_unknown_site_is_told_and_belongs_to_nobody() -> None:
    decoded = decoder().decode(message([VOLTAGE], site="attic", bound=False))
    assert decoded.verdict is Verdict.QUARANTINED
    (refused,) = decoded.refused
    assert (refused.reason, refused.site_id) == ("site-unknown", None)
    assert "'attic'" in refused.detail


def test_what_a_token_sends_to_another_site_is_kept_for_the_tokens_site() -> None:
    decoded = decoder().decode(message([VOLTAGE], site="barn"))
    assert decoded.verdict is Verdict.NOT_AUTHORISED
    (refused,) = decoded.refused
    assert refused.site_id == 1
    assert refused.payload == message([VOLTAGE]).payload
    assert "'bridge' may write to 'studio', and the topic names 'barn'" in refused.detail


def test_a_token_without_a_sites_id_writes_nowhere() -> None:
    loose = Message("joulebook/v1/studio/battery", b"[]", NOW_MS, "bridge", "studio", None)
    assert decoder().decode(loose).verdict is Verdict.NOT_AUTHORISED


@pytest.mark.parametrize("fields", [{"vs": "x"}, {"v": 1, "u": "W"}])
def test_a_pack_of_several_devices_names_goes_to_the_device_of_the_topic(
    fields: dict[str, Any],
) -> None:
    decoded = decoder().decode(message([{"n": "urn:x/q", **fields}], device="kiln"))
    assert [one[:2] for one in readings(decoded)] == [("kiln", "urn:x/q")]


def test_several_bad_records_are_told_one_by_one_beside_a_good_one() -> None:
    pack = [VOLTAGE, {"n": "soc", "u": "V", "v": 1}, {"n": "soh", "u": "/", "v": 5}]
    decoded = decoder().decode(message(pack))
    assert decoded.verdict is Verdict.STORED
    assert [refused.reason for refused in decoded.refused] == ["unit-wrong", "ratio-too-large"]
    assert [refused.detail[:15] for refused in decoded.refused] == [
        "record 2 (soc) ",
        "record 3 (soh) ",
    ]
    assert len({refused.payload for refused in decoded.refused}) == 2


def test_a_pack_without_a_good_record_is_kept_once_and_whole() -> None:
    pack = [{"n": f"q{number}", "u": "furlong", "v": 1} for number in range(7)]
    decoded = decoder().decode(message(pack))
    assert decoded.verdict is Verdict.QUARANTINED
    (refused,) = decoded.refused
    assert refused.reason == "unit-unknown"
    assert refused.payload == message(pack).payload
    assert "record 5 (q4)" in refused.detail
    assert refused.detail.endswith("and 2 more")


def test_different_faults_in_all_records_have_a_reason_of_their_own() -> None:
    decoded = decoder().decode(message([{"n": "a"}, {"n": "soc", "u": "V", "v": 1}]))
    assert [refused.reason for refused in decoded.refused] == ["no-usable-record"]


def test_a_series_keeps_the_unit_that_storage_has_for_it() -> None:
    one = decoder()
    one.pin(series("fan", "W"))
    assert readings(one.decode(message([{"n": "fan", "u": "kW", "v": 1.5}])))[0][2:] == (
        "W",
        NOW_MS,
        1500.0,
    )
    refused = one.decode(message([{"n": "fan", "u": "V", "v": 1.5}])).refused
    assert [one.reason for one in refused] == ["unit-wrong"]
    assert "expected one of W, kW" in refused[0].detail
    assert [one.reason for one in one.decode(message([{"n": "fan", "vs": "on"}])).refused] == [
        "kind-wrong"
    ]


def test_a_stored_series_of_the_vocabulary_keeps_its_range() -> None:
    one = decoder()
    one.pin(series("soc", "/"))
    refused = one.decode(message([{"n": "soc", "u": "/", "v": 61}])).refused
    assert [one.reason for one in refused] == ["ratio-too-large"]


def test_a_series_stored_before_the_vocabulary_knew_it_keeps_its_unit() -> None:
    one = decoder()
    one.pin(series("voltage", "mV"))
    assert readings(one.decode(message([VOLTAGE])))[0][2:] == ("mV", NOW_MS, 53_100.0)


def test_a_series_without_a_unit_takes_none() -> None:
    one = decoder()
    one.pin(series("fan", ""))
    assert len(one.decode(message([{"n": "fan", "v": 3}])).rows) == 1
    assert (
        "expected no unit"
        in one.decode(message([{"n": "fan", "u": "W", "v": 3}])).refused[0].detail
    )


def test_a_pin_changes_what_was_planned_before() -> None:
    one = decoder()
    pack = message([{"n": "fan", "u": "kW", "v": 1.5}])
    assert readings(one.decode(pack))[0][2] == "kW"
    one.pin(series("fan", "W"))
    assert readings(one.decode(pack))[0][2] == "W"


def test_a_full_device_takes_no_more_quantities() -> None:
    one = decoder()
    one.close_device(1, "kiln", frozenset({"heat"}))
    pack = [{"n": "heat", "u": "W", "v": 1}, {"n": "smoke", "u": "W", "v": 1}]
    decoded = one.decode(message(pack, device="kiln"))
    assert [reading[1] for reading in readings(decoded)] == ["heat"]
    assert [refused.reason for refused in decoded.refused] == ["quantities-too-many"]


def test_a_name_longer_than_64_characters_is_refused() -> None:
    pack = [VOLTAGE, {"n": "x" * 65, "u": "V", "v": 1}]
    assert [one.reason for one in decoder().decode(message(pack)).refused] == ["name-illegal"]


@pytest.mark.parametrize(
    ("unit", "total", "expected"),
    [("W", 3_600_000, ("charge_energy", "Wh", 1000.0)), ("A", 3600, None), ("V", 1, None)],
)
def test_a_sum_of_watts_is_an_energy(
    unit: str, total: float, expected: tuple[str, str, float] | None
) -> None:
    # CV-37b: RFC 8428 §4.2, "unit multiplied by seconds".
    decoded = decoder().decode(message([{"n": "charge_energy", "u": unit, "s": total}]))
    got = [(quantity, unit, value) for _, quantity, unit, _, value in readings(decoded)]
    assert got == ([expected] if expected else [])


def test_a_sum_of_amperes_is_a_charge() -> None:
    decoded = decoder().decode(message([{"n": "throughput", "u": "A", "s": 7200}]))
    assert readings(decoded) == [("battery", "throughput", "C", NOW_MS, 7200.0)]


def test_two_units_for_one_quantity_in_a_pack_make_two_rows() -> None:
    pack = [{"n": "fan", "u": "W", "v": 1}, {"n": "fan", "u": "kW", "v": 2}]
    assert [len(layout.columns) for layout, _, _ in decoder().decode(message(pack)).rows] == [1, 1]


def test_decoding_forgets_what_made_up_topics_and_names_would_pile_up(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(decode_module, "MOST_TOPICS", 3)
    monkeypatch.setattr(decode_module, "_MOST_SHAPES", 3)
    one = decoder()
    for number in range(10):
        pack = message([{"n": f"q{number}", "v": 1}], device=f"d{number}")
        assert len(one.decode(pack).rows) == 1
    assert len(one._targets) <= 3
    assert len(one._plans) <= 3


def test_devices_of_more_than_a_thousand_homes_are_looked_at_closely_once_only(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    looked: list[str] = []
    closely = decode_module.Decoder._make_plan

    def counted(one: Decoder, target: Target, shape: Shape) -> Plan | None:
        looked.append(target.device)
        return closely(one, target, shape)

    monkeypatch.setattr(decode_module.Decoder, "_make_plan", counted)
    one = decoder()
    packs = [message([{"n": "power", "v": 1}], device=f"d{number}") for number in range(4500)]
    for pack in packs * 2:
        assert len(one.decode(pack).rows) == 1
    assert len(looked) == len(packs)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["voltage", "current", "power", "fan", "state"]),
            st.floats(allow_nan=False, allow_infinity=False),
            st.integers(-1000, 0),
        ),
        min_size=1,
        unique_by=lambda one: (one[0], one[2]),
    )
)
@settings(derandomize=True, deadline=None)
def test_what_is_encoded_is_decoded(sent: list[tuple[str, float, int]]) -> None:
    units = {"voltage": "V", "current": "A", "power": "W", "fan": "count", "state": ""}
    pack = [
        {"n": name, "v": value, "t": at_s} | ({"u": units[name]} if units[name] else {})
        for name, value, at_s in sent
    ]
    decoded = decoder().decode(message(pack))
    assert decoded.refused == []
    assert sorted(readings(decoded)) == sorted(
        ("battery", name, units[name], NOW_MS + 1000 * at_s, value) for name, value, at_s in sent
    )
