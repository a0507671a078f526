"""From another bridge's message to rows: the way through the decoder, as in the service."""

from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.ingest.decode import Decoder
from joulebook.ingest.mapping.file import parse_mappings
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.outcomes import Decoded
from tests.helpers.packs import NOW_MS, readings

RULES = """\
[[mapping]]
topic = "kiln/+/state"
site = "studio"
device = "load-{1}"
time = "/at"
time_form = "FORM"
[[mapping.reading]]
quantity = "power_l1"
pointer = "/lines/0"
unit = "W"
scale = 0.1
missing = [65535, "n/a"]
[[mapping.reading]]
quantity = "power_l2"
pointer = "/lines/1"
unit = "W"

[[mapping]]
topic = "clamp/#"
site = "studio"
device = "battery"
[[mapping.reading]]
quantity = "current"
unit = "A"
turn_sign = true

[[mapping]]
topic = "lamp"
site = "studio"
device = "lamp"
[[mapping.reading]]
quantity = "state"
"""


def decoded(topic: str, payload: str | bytes, *, form: str = "milliseconds") -> Decoded:
    mappings = Mappings(parse_mappings(RULES.replace("FORM", form), "rules.toml"))
    content = payload.encode() if isinstance(payload, str) else payload
    message = Message(topic, content, NOW_MS, "bridge", "studio", 1)
    return Decoder({"studio": 1}.get, mappings).decode(message)


def told(found: Decoded) -> list[tuple[str, str, object, int]]:
    return [(device, name, value, at_ms) for device, name, _, at_ms, value in readings(found)]


def test_numbers_of_a_document_are_scaled_in_decimal() -> None:
    found = decoded("kiln/2/state", f'{{"at": {NOW_MS - 5}, "lines": [1201, 613.5]}}')
    assert found.verdict is Verdict.STORED
    # 1201 times 0.1 as floats is 120.10000000000001 (CV-14).
    assert told(found) == [
        ("load-2", "power_l1", 120.1, NOW_MS - 5),
        ("load-2", "power_l2", 613.5, NOW_MS - 5),
    ]


def test_times_are_read_in_each_form() -> None:
    for form, written in (
        ("seconds", f"{NOW_MS / 1000}"),
        ("seconds", f'"{NOW_MS / 1000}"'),
        ("milliseconds", f"{NOW_MS}"),
        ("text", '"2026-05-28T20:26:40Z"'),
    ):
        found = decoded("kiln/2/state", f'{{"at": {written}, "lines": [1, 2]}}', form=form)
        assert {one[3] for one in told(found)} == {NOW_MS}, form


def test_a_time_that_is_none_keeps_the_message_whole() -> None:
    for form, written in (
        *(("text", "5"), ("text", '"noon"'), ("seconds", "true"), ("seconds", "1e30")),
        ("seconds", "null"),
        ("seconds", '"soon"'),
    ):
        payload = f'{{"at": {written}, "lines": [1, 2]}}'
        found = decoded("kiln/2/state", payload, form=form)
        assert (found.verdict, found.rows) == (Verdict.QUARANTINED, [])
        (refused,) = found.refused
        assert (refused.reason, refused.payload) == ("time-not-found", payload.encode())
        assert refused.topic == "kiln/2/state"
    assert decoded("kiln/2/state", "{}").refused[0].detail == "the time: there is no /at in it"


def test_a_bare_number_is_turned_round_and_takes_the_time_of_receipt() -> None:
    for payload in ("-18.5", '"-18.5"', "-1.85e1", b"-18.5\n"):
        assert told(decoded("clamp/amps", payload)) == [("battery", "current", 18.5, NOW_MS)]


def test_texts_and_flags_pass_without_a_unit() -> None:
    assert told(decoded("lamp", "ON")) == [("lamp", "state", "ON", NOW_MS)]
    assert told(decoded("lamp", "true")) == [("lamp", "state", True, NOW_MS)]
    found = decoded("lamp", "3")
    assert found.refused[0].detail == "lamp/state: 3 needs a unit in the mapping"


def test_what_says_that_nothing_was_measured_is_no_reading_and_no_fault() -> None:
    for written in ("65535", '"n/a"', "null"):
        found = decoded("kiln/2/state", f'{{"at": {NOW_MS}, "lines": [{written}, 7]}}')
        assert told(found) == [("load-2", "power_l2", 7.0, NOW_MS)]
        assert found.refused == []
    nothing = decoded("clamp/amps", "null")
    assert (nothing.verdict, nothing.rows, nothing.refused) == (Verdict.STORED, [], [])


def test_one_bad_reading_costs_that_reading() -> None:
    found = decoded("kiln/2/state", f'{{"at": {NOW_MS}, "lines": [7]}}')
    assert found.verdict is Verdict.STORED
    assert told(found) == [("load-2", "power_l1", 0.7, NOW_MS)]
    (refused,) = found.refused
    assert refused.detail == "load-2/power_l2: there is no /lines/1 in it, in a list of 1"
    dull = decoded("clamp/amps", "[]")
    assert dull.verdict is Verdict.QUARANTINED
    assert dull.refused[0].detail == "battery/current: [] is no number"


def test_the_checks_of_every_message_hold_too() -> None:
    ahead = decoded("kiln/2/state", f'{{"at": {NOW_MS + 3_600_000}, "lines": [1, 2]}}')
    assert {refused.reason for refused in ahead.refused} == {"time-ahead"}
    assert {refused.topic for refused in ahead.refused} == {"kiln/2/state"}
    assert ahead.verdict is Verdict.QUARANTINED


def test_a_token_writes_to_its_own_site_only() -> None:
    mappings = Mappings(parse_mappings(RULES.replace("FORM", "seconds"), "rules.toml"))
    message = Message("clamp/amps", b"1", NOW_MS, "bridge", "barn", 2)
    found = Decoder({"studio": 1, "barn": 2}.get, mappings).decode(message)
    assert found.verdict is Verdict.NOT_AUTHORISED
    assert found.refused[0].site_id == 2


def test_a_topic_that_no_filter_takes_is_no_topic_of_ours() -> None:
    assert decoded("kiln/2", "1").verdict is Verdict.TOPIC_INVALID


def test_each_filter_is_subscribed_to_once() -> None:
    rules = parse_mappings(RULES.replace("FORM", "seconds"), "rules.toml")
    assert Mappings([*rules, *rules]).topic_filters == ["kiln/+/state", "clamp/#", "lamp"]


@settings(derandomize=True, deadline=None, max_examples=300)
@given(st.one_of(st.binary(max_size=60), st.text(max_size=60).map(str.encode)))
def test_no_payload_breaks_it(payload: bytes) -> None:
    for topic in ("kiln/2/state", "clamp/amps", "lamp"):
        found = decoded(topic, payload)
        assert found.rows or found.refused or found.verdict is Verdict.STORED
