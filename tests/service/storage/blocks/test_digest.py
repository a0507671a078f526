"""A day's digest is of its readings, in a form that anybody can make again (FIPS 180-4)."""

import hashlib
import struct

import numpy as np
from numpy.typing import NDArray

from joulebook.storage.blocks.block import DeviceBlock
from joulebook.storage.blocks.columns import Column
from joulebook.storage.blocks.digest import NamedSeries, day_digests, series_digest

DAY_MS = 86_400_000
POWER, SOC = NamedSeries("power", "W"), NamedSeries("soc", "/")


def numbers(*values: float) -> Column:
    return Column("number", np.array(values))


def by_hand(readings: list[tuple[int, float]]) -> bytes:
    """All instants, then all values, as the C struct of each."""
    instants = b"".join(struct.pack("<q", at_ms) for at_ms, _ in readings)
    return hashlib.sha256(
        instants + b"".join(struct.pack("<d", value) for _, value in readings)
    ).digest()


def test_a_series_is_its_instants_and_then_its_values() -> None:
    at_ms: NDArray[np.int64] = np.array([1000, 2000, 3000], dtype=np.int64)
    values = np.array([1.5, np.nan, -0.0])
    assert series_digest(at_ms, values) == (2, by_hand([(1000, 1.5), (3000, -0.0)]))


def test_a_day_is_the_list_of_its_series_by_name_and_days_are_those_of_utc() -> None:
    block = DeviceBlock(
        np.array([DAY_MS - 1, DAY_MS, DAY_MS + 1], dtype=np.int64),
        {7: numbers(0.5, np.nan, 0.25), 3: numbers(10.0, 20.0, 30.0)},
    )
    first, second = day_digests(block, {3: POWER, 7: SOC})
    assert (first.day, first.readings, second.day, second.readings) == (0, 2, 1, 3)
    power = by_hand([(DAY_MS, 20.0), (DAY_MS + 1, 30.0)]).hex()
    soc = by_hand([(DAY_MS + 1, 0.25)]).hex()
    assert second.digest == hashlib.sha256(f"power W {power}\nsoc / {soc}\n".encode()).digest()


def test_flags_and_texts_and_series_without_readings_that_day_are_left_out() -> None:
    block = DeviceBlock(
        np.array([0, DAY_MS], dtype=np.int64),
        {
            1: numbers(np.nan, 4.0),
            4: numbers(0.5, np.nan),
            2: Column("text", np.array(["on", "off"], dtype=np.object_)),
            3: Column("flag", np.array([1.0, np.nan])),
        },
    )
    names = {1: POWER, 2: NamedSeries("mode", ""), 3: NamedSeries("running", ""), 4: SOC}
    first, second = day_digests(block, names)
    assert [name.quantity for name in first.series] == ["soc"]
    assert [name.quantity for name in second.series] == ["power"]
    assert list(day_digests(block, {2: NamedSeries("mode", "")})) == []
