"""Measure how small and how fast sealed blocks are: ``python -m tests.measure_blocks``.

Bytes a reading (time included) of `quantised_site`, by UTC day and by week, and the rates of
encoding and of decoding a day of six series, best of several rounds, by the wall and by the
thread's own time; the two differ where others use the machine.
"""

import argparse
import os
import sys
import time
from collections.abc import Callable

from joulebook.core.spans import Span
from joulebook.storage.blocks.block import DeviceBlock, decode_block, encode_block
from joulebook.storage.blocks.columns import Column
from tests.helpers.quantised_site import DAY_MS, START_MS, ReportedDevice, quantised_site


def as_block(device: ReportedDevice) -> DeviceBlock:
    """Return a device's readings as a block, its series numbered from 0."""
    columns = enumerate(device.values.values())
    return DeviceBlock(
        device.at_ms, {number: Column("number", values) for number, values in columns}
    )


def blocks(site: dict[str, ReportedDevice], whole: int, days: int) -> list[DeviceBlock]:
    """Return the site's readings of ``whole`` days in blocks of ``days``."""
    return [
        as_block(device.between(START_MS + day * DAY_MS, START_MS + (day + days) * DAY_MS))
        for device in site.values()
        for day in range(0, whole, days)
    ]


def readings_in(some: list[DeviceBlock]) -> int:
    """Return how many readings blocks hold."""
    return sum(len(block.at_ms) * len(block.columns) for block in some)


def best_s(act: Callable[[], object], rounds: int) -> tuple[float, float]:
    """Return the shortest time of some rounds, by the wall and by this thread. [s]"""
    walls, own = [], []
    for _ in range(rounds):
        wall, mine = time.perf_counter(), time.thread_time()
        act()
        own.append(time.thread_time() - mine)
        walls.append(time.perf_counter() - wall)
    return min(walls), min(own)


def sizes_line(whole: int, noise: float, jitter_ms: int) -> str:
    """Return the bytes a reading of one made-up site."""
    site = quantised_site(whole, noise=noise, jitter_ms=jitter_ms)
    by_day, by_week = (
        sum(len(encode_block(block)) for block in some) / readings_in(some)
        for some in (blocks(site, whole, 1), blocks(site, whole, 7))
    )
    return (
        f"noise {noise:<4}  jitter {jitter_ms:2} ms  bytes a reading: "
        f"{by_day:.4f} by day, {by_week:.4f} by week\n"
    )


def rates_line(whole: int, days: int, rounds: int) -> str:
    """Return how fast blocks of so many days are made, and a day of six series read from one."""
    some = blocks(quantised_site(whole), whole, days)
    wall_s, own_s = best_s(lambda: [encode_block(block) for block in some], rounds)
    data = encode_block(some[0])
    middle_ms = START_MS + days // 2 * DAY_MS
    span = Span(middle_ms, middle_ms + DAY_MS)
    read_s, read_own_s = best_s(lambda: decode_block(data, range(6), span), 100 * rounds)
    readings = readings_in(some) / 1e6
    return (
        f"blocks of {days} d: encode {readings / wall_s:.1f} M readings/s "
        f"({readings / own_s:.1f} of own time), a day x 6 series {read_s * 1e6:.0f} us "
        f"({read_own_s * 1e6:.0f} of own time)\n"
    )


def main() -> None:
    """Print the figures."""
    arguments = argparse.ArgumentParser(prog="python -m tests.measure_blocks")
    arguments.add_argument("--weeks", type=int, default=4)
    arguments.add_argument("--rounds", type=int, default=5)
    arguments.add_argument("--noise", type=float, nargs="+", default=[0.5, 0.75, 1.0, 2.0])
    chosen = arguments.parse_args()
    out = sys.stdout
    out.write(f"load average {os.getloadavg()}\n")
    for jitter_ms in (0, 20):
        for noise in chosen.noise:
            out.write(sizes_line(7 * chosen.weeks, noise, jitter_ms))
    for days in (1, 7):
        out.write(rates_line(7 * chosen.weeks, days, chosen.rounds))
    out.write(f"load average {os.getloadavg()}\n")


if __name__ == "__main__":  # pragma: no cover - main() is what is tested
    main()
