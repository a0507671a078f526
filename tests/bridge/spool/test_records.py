import struct

from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook_bridge.batch import Batch, Instant, Shape
from joulebook_bridge.spool.records import MAGIC, Content, Encoder, Header, decode
from tests.helpers.spools import BATTERY, PANELS, batch
from tests.helpers.stepped_clock import NOON_MS

HEADER = Header("boot", Instant(NOON_MS, 5), clock_is_set=True)


def file_of(*batches: Batch) -> bytes:
    encoder = Encoder()
    return encoder.begin(HEADER) + b"".join(encoder.batch(each) for each in batches)


def at(second: int) -> Instant:
    return Instant(NOON_MS + 1000 * second, 1000 * second)


def test_what_is_written_is_read() -> None:
    batches = [batch(at(1), 1), batch(at(1), 2, PANELS), batch(at(2), 3)]
    content = decode(file_of(*batches))
    assert content == Content(HEADER, batches, 0)
    assert content.readings == 5


def test_a_shape_is_said_once_in_a_file() -> None:
    one, two = file_of(batch(at(1), 1)), file_of(batch(at(1), 1), batch(at(2), 2))
    # Mark, length and checksum; kind; shape and two times; two values.
    assert len(two) - len(one) == 10 + 1 + 18 + 16


@given(st.integers(0, 400))
@settings(derandomize=True, deadline=None)
def test_a_torn_end_costs_the_last_record(cut: int) -> None:
    batches = [batch(at(second), second) for second in range(8)]
    whole = file_of(*batches)
    torn = whole[: max(0, len(whole) - cut)]
    content = decode(torn)
    assert content.batches == batches[: len(content.batches)]
    # A record is 45 bytes: mark, length, checksum, kind, shape, two times and two values.
    lost = (cut + 44) // 45
    assert len(content.batches) == max(0, 8 - lost)
    if cut < 8 * 45:
        assert content.damaged_bytes == -cut % 45


@given(st.data())
@settings(derandomize=True, deadline=None, max_examples=300)
def test_a_changed_byte_costs_one_record(data: st.DataObject) -> None:
    batches = [batch(at(second), second) for second in range(6)]
    whole = bytearray(file_of(*batches))
    first_shape = len(Encoder().begin(HEADER))
    place = data.draw(st.integers(first_shape + 150, len(whole) - 1))
    whole[place] ^= data.draw(st.integers(1, 255))
    content = decode(bytes(whole))
    assert len(content.batches) >= 5
    assert [each for each in batches if each in content.batches] == content.batches
    assert content.damaged_bytes > 0


def test_a_lost_shape_costs_its_batches_and_no_others() -> None:
    batches = [batch(at(1), 1), batch(at(1), 2, PANELS), batch(at(2), 3, PANELS)]
    whole = file_of(*batches).replace(b'"battery"', b'"bAttery"')
    content = decode(whole)
    assert content.batches == batches[1:]
    assert content.damaged_bytes > 0


def test_a_shape_of_another_width_is_not_believed() -> None:
    encoder = Encoder()
    odd = Batch(at(1), Shape("battery", (("voltage", "V"),)), (1.0, 2.0))
    assert decode(encoder.begin(HEADER) + encoder.batch(odd)).batches == []


def test_bytes_that_are_no_spool_hold_nothing() -> None:
    assert decode(b"").batches == []
    assert decode(b"\xa5\x5a" * 40).header is None
    assert decode(b"\xa5\x5a" + struct.pack(">II", 0, 0) + b"more").damaged_bytes == 14


@given(st.binary(max_size=400))
@settings(derandomize=True, deadline=None)
def test_any_bytes_can_be_read(data: bytes) -> None:
    content = decode(MAGIC + data)
    assert content.batches == []  # nobody hits upon a checksum by chance
    assert content.damaged_bytes <= len(data)


def test_an_encoder_forgets_what_was_not_written() -> None:
    encoder = Encoder()
    first = encoder.batch(batch(at(1), 1))
    assert encoder.knows(BATTERY)
    encoder.forget(BATTERY)
    encoder.forget(PANELS)
    assert encoder.batch(batch(at(1), 1)) == first
