import pytest

from joulebook.ingest.mqtt import answers
from joulebook.ingest.mqtt.packets import PacketType
from joulebook.ingest.mqtt.reasons import Reason, Return


@pytest.mark.parametrize(
    ("code", "raw"),
    [
        (Return.ACCEPTED, "20020000"),
        (Return.UNSUPPORTED_VERSION, "20020001"),
        (Return.ID_REJECTED, "20020002"),
        (Return.UNAVAILABLE, "20020003"),
        (Return.BAD_CREDENTIALS, "20020004"),
    ],
)
def test_connack_of_3_1_1(code: Return, raw: str) -> None:
    # CV-42b, CV-43f: MQTT 3.1.1 §3.2.2.3, Table 3.1.
    assert answers.connack_311(code).hex() == raw


def test_connack_of_5_0() -> None:
    # CV-42c: MQTT 5.0 §3.2.2; the values are from memory.
    assert answers.connack_5(Reason.SUCCESS, {}).hex() == "2003000000"
    assert answers.connack_5(Reason.BAD_CREDENTIALS, {}).hex() == "2003008600"


def test_acknowledgements() -> None:
    # CV-43: MQTT 3.1.1 §3.4 to §3.7.
    assert answers.acknowledgement(PacketType.PUBACK, 0x1234).hex() == "40021234"
    assert answers.acknowledgement(PacketType.PUBREC, 0x1234).hex() == "50021234"
    assert answers.acknowledgement(PacketType.PUBCOMP, 0x1234).hex() == "70021234"
    # MQTT 5.0 §3.4.2: with a reason the property length may be left out.
    refused = answers.acknowledgement(PacketType.PUBACK, 0x1234, Reason.NOT_AUTHORISED)
    assert refused.hex() == "4003123487"


def test_subscriptions_are_refused() -> None:
    # CV-43d: 80h in MQTT 3.1.1 §3.9.3, 87h in 5.0 (from memory).
    assert answers.suback(10, 2, 4).hex() == "9004000a8080"
    assert answers.suback(10, 2, 5).hex() == "9005000a008787"
    assert answers.unsuback(10, 2, 4).hex() == "b002000a"
    assert answers.unsuback(10, 2, 5).hex() == "b005000a001111"


def test_a_suback_of_many_filters() -> None:
    assert answers.suback(1, 200, 4)[:5].hex() == "90ca010001"


def test_disconnect_of_5_0() -> None:
    assert answers.disconnect(Reason.TAKEN_OVER).hex() == "e0018e"
