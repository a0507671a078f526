"""Checks an evidence file of joulebook: python check.py, in the folder where it was unpacked.

It needs Python 3.10 or newer and numpy, and nothing of joulebook. It looks whether the files are
those that were made together, whether the chain of sealed days holds, whether the readings are
those that were sealed, and works the headline numbers out anew from the readings, by shorter ways
than the ones that made them. Exit status: 0 where all of that agrees, 1 where something does not.
"""

import csv
import hashlib
import json
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS
REST_A = 0.15
FULL, COLD, REFERENCE_C = 0.999, 0.0025, 25.0


Row = dict[str, str]


class Report:
    """What was looked at, a line each, and whether all of it agrees."""

    def __init__(self) -> None:
        self.agrees = True

    def tell(self, words: str, *, good: bool | None) -> None:
        """Print a line; ``None`` for what could not be looked at."""
        self.agrees = self.agrees and good is not False
        print(f"{'    -' if good is None else '   ok' if good else 'WRONG'}  {words}")


def main(folder: Path, older: Path | None = None) -> int:
    """Check the files of a folder and return the exit status."""
    report = Report()
    if not check_files(folder, report):
        print("the rest was not looked at: unpack the whole file again")
        return 1
    chain = table(folder / "chain.csv")
    check_chain(chain, report)
    if older is not None:
        check_older(chain, table(older / "chain.csv"), report)
    check_readings(folder, chain, report)
    results = json.loads((folder / "results.json").read_text(encoding="utf-8"))
    if (folder / "analysed.csv").exists():
        check_numbers(folder, results, report)
    else:
        report.tell(
            f"no number was measured: {results['headline']['capacity_ah']['reason']}", good=None
        )
    print("all of it agrees" if report.agrees else "something does not agree, see WRONG above")
    return 0 if report.agrees else 1


# Files and chain


def check_files(folder: Path, report: Report) -> bool:
    """Compare every file with its sum in the manifest; return whether all tables are there."""
    lines = (folder / "manifest.txt").read_text(encoding="utf-8").splitlines()
    sums = {name: digest for digest, name in (line.split("  ", 1) for line in lines)}
    wrong = [
        name
        for name, digest in sums.items()
        if not (folder / name).is_file()
        or hashlib.sha256((folder / name).read_bytes()).hexdigest() != digest
    ]
    report.tell(
        f"files: {len(sums) - len(wrong)} of {len(sums)} are as they were made", good=not wrong
    )
    for name in wrong:
        report.tell(f"  {name} is missing or was changed", good=False)
    return all((folder / name).is_file() for name in sums if name.endswith((".csv", ".json")))


def check_chain(chain: list[Row], report: Report) -> None:
    """Follow the chain from its first link."""
    before = "0" * 64
    for number, row in enumerate(chain, start=1):
        line = " ".join(
            (before, str(number), row["device"], row["day"], row["readings"], row["digest"])
        )
        before = hashlib.sha256(f"{line} {row['sealed_ms']}\n".encode()).hexdigest()
        if before != row["hash"]:
            report.tell(
                f"chain: link {number}, {row['device']} on {row['day']}, is broken", good=False
            )
            return
    report.tell(f"chain: {len(chain)} links, each holds the one before; head {before}", good=True)


def check_older(chain: list[Row], older: list[Row], report: Report) -> None:
    """Look whether an older file's chain is where this one begins."""
    same = [row["hash"] for row in chain[: len(older)]] == [row["hash"] for row in older]
    report.tell(f"chain: its first {len(older)} links are those of the older file", good=same)


def check_readings(folder: Path, chain: list[Row], report: Report) -> None:
    """Make each day's digest anew from the readings and compare it with its newest link."""
    if not (folder / "readings.csv").exists():
        report.tell("readings: none are in this file", good=None)
        return
    head, at_ms, columns = readings(folder / "readings.csv")
    devices: dict[str, list[tuple[str, str, np.ndarray]]] = {}
    for name, values in zip(head, columns, strict=True):
        path, _, unit = name.partition(" [")
        device, quantity = path.split(".", 1)
        devices.setdefault(device, []).append((quantity, unit.rstrip("]"), values))
    newest = {(row["device"], row["day"]): row["digest"] for row in chain}
    days = np.unique(at_ms // DAY_MS)
    wrong, looked = [], 0
    for day in days.tolist():
        inside = slice(*np.searchsorted(at_ms, (day * DAY_MS, (day + 1) * DAY_MS)))
        date = str(np.datetime64(day, "D"))
        for device, series in devices.items():
            if (device, date) in newest:
                looked += 1
                if digest_of(at_ms[inside], series, inside) != newest[device, date]:
                    wrong.append(f"{device} on {date}")
    report.tell(
        f"readings: {looked - len(wrong)} of {looked} sealed days are as sealed", good=not wrong
    )
    for name in wrong[:20]:
        report.tell(f"  the readings of {name} (UTC) are not those that were sealed", good=False)


def digest_of(at_ms: np.ndarray, series: list[tuple[str, str, np.ndarray]], inside: slice) -> str:
    """Return the digest of a device's day: of the digests of its series, by name."""
    lines = []
    for quantity, unit, values in series:
        part = values[inside]
        there = ~np.isnan(part)
        if there.any():
            digest = hashlib.sha256(at_ms[there].astype("<i8").tobytes())
            digest.update(part[there].astype("<f8").tobytes())
            lines.append(f"{quantity} {unit} {digest.hexdigest()}\n")
    return hashlib.sha256("".join(sorted(lines)).encode()).hexdigest()


# Numbers


def check_numbers(folder: Path, results: dict[str, Any], report: Report) -> None:
    """Work the headline numbers out from what was analysed."""
    stated = results["headline"]
    _, at_ms, (volts, amps, warmth) = readings(folder / "analysed.csv")
    _, knots, (offset, _) = readings(folder / "offset.csv")
    amps = amps - np.interp(at_ms, knots, offset)
    hours = standing(at_ms)
    there = ~np.isnan(amps)
    moving = np.where(there & (np.abs(amps) >= REST_A), amps, 0.0)
    cycles = float(np.sum(np.abs(moving) * hours)) / 2 / results["site"]["battery_ah"]
    compare(report, "full cycles, equivalent", stated["efc"], cycles, slack=0.01)
    for name, limit in (("hours_above_35", 35.0), ("hours_above_45", 45.0)):
        compare(report, name, stated[name], float(np.sum(hours[warmth > limit])), slack=0.01, add=1)
    cold = there & (amps > REST_A) & (warmth < 0.0)
    compare(
        report, "hours charged below 0 °C", stated["freezing_h"], float(np.sum(hours[cold])), add=1
    )
    check_nights(folder, (at_ms, amps, hours), stated, report)
    check_round_trip(folder, (at_ms, volts, moving, hours), stated["round_trip"], report)


def check_nights(
    folder: Path, analysed: tuple[np.ndarray, ...], stated: dict[str, Any], report: Report
) -> None:
    """Follow each night from full to low, and compare what they imply with what is stated."""
    at_ms, amps, hours = analysed
    # The list tells the counted charge with the sensor's zero taken off, and so do we.
    counted = np.concatenate([[0.0], np.cumsum(np.nan_to_num(amps) * hours)])
    curve = table(folder / "curve.csv")
    states, rest_v = (np.array([float(row[n]) for row in curve]) for n in ("state", "rest_v"))
    found: list[tuple[float, float, float]] = []
    wrong = 0
    for night in table(folder / "nights.csv"):
        if night["counts"] != "1":
            continue
        ends = [datetime.fromisoformat(night[name]).timestamp() * 1000 for name in ("full", "low")]
        begin, end = np.searchsorted(at_ms, ends)
        drawn = float(counted[begin] - counted[end])
        state = float(np.interp(float(night["cell_v"]), rest_v, states))
        cold = max(REFERENCE_C - float(night["temperature_c"]), 0.0)
        share = FULL - state - COLD * cold * (1 - state)
        wrong += abs(drawn / share - float(night["ah"])) > 0.02 * float(night["ah"])
        half = (float(night["high_ah"]) - float(night["low_ah"])) / 2
        found.append((ends[0], drawn / share, half))
    if not found:
        report.tell("nights: none went low enough to tell the capacity", good=None)
        return
    few = max(1, len(found) // 20)
    report.tell(f"nights: {len(found) - wrong} of {len(found)} within 2 %", good=wrong <= few)
    when, implied, halves = np.array(found).T
    newest = implied[when > when[-1] - 183 * DAY_MS]
    widest = float(np.median(halves))
    compare(report, "capacity, Ah", stated["capacity_ah"], float(np.median(newest)), add=widest)
    check_fade(when, implied, stated["fade"], report)


def check_fade(
    when: np.ndarray, implied: np.ndarray, stated: dict[str, Any], report: Report
) -> None:
    """Compare the fade with the median of the slopes between any two quarters' medians."""
    quarters = (when // (91.3125 * DAY_MS)).astype(int)
    kinds = [each for each in np.unique(quarters) if np.sum(quarters == each) >= 4]
    if len(kinds) < 5:
        report.tell("fade: fewer than five quarters of a year have four nights each", good=None)
        return
    years = np.array([np.median(when[quarters == each]) for each in kinds]) / (365.25 * DAY_MS)
    medians = np.array([np.median(implied[quarters == each]) for each in kinds])
    one, other = np.triu_indices(len(kinds), 1)
    slopes = (medians[one] - medians[other]) / (years[other] - years[one]) / medians[0]
    spread = float(np.quantile(slopes, 0.95) - np.quantile(slopes, 0.05)) / 2
    compare(report, "fade, share a year", stated, float(np.median(slopes)), add=spread)


def check_round_trip(
    folder: Path, analysed: tuple[np.ndarray, ...], stated: dict[str, Any], report: Report
) -> None:
    """Add up what went in and out over the stretches from full charge to full charge."""
    at_ms, volts, amps, hours = analysed
    energy = np.nan_to_num(volts * amps) * hours
    into = np.concatenate([[0.0], np.cumsum(np.maximum(energy, 0.0))])
    out = np.concatenate([[0.0], np.cumsum(np.maximum(-energy, 0.0))])
    first, last = stated.get("from_ms", 0), stated.get("to_ms", 0)
    sums = np.zeros(2)
    for row in table(folder / "segments.csv"):
        begin_ms, end_ms = int(row["from_ms"]), int(row["to_ms"])
        if row["broken"] == "0" and begin_ms >= first and end_ms <= last:
            begin, end = np.searchsorted(at_ms, (begin_ms, end_ms))
            sums += (into[end] - into[begin], out[end] - out[begin])
    ratio = float(sums[1] / sums[0]) if sums[0] else None
    compare(report, "round trip", stated, ratio, add=0.005)


def compare(
    report: Report,
    name: str,
    stated: dict[str, Any],
    found: float | None,
    *,
    slack: float = 0.0,
    add: float = 0.0,
) -> None:
    """Tell whether a number found anew lies in the stated interval, widened by what it may miss."""
    if stated["value"] is None:
        report.tell(f"{name}: not given, since {stated['reason']}", good=None)
    elif found is None:
        report.tell(f"{name}: nothing to work it out from", good=None)
    else:
        more = slack * abs(stated["value"]) + add
        good = stated["low"] - more <= found <= stated["high"] + more
        report.tell(
            f"{name}: stated {stated['value']:.5g} [{stated['low']:.5g} to {stated['high']:.5g}], "
            f"found {found:.5g}",
            good=good,
        )


# Reading


def table(path: Path) -> list[Row]:
    """Return a table's rows as dictionaries of texts."""
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def readings(path: Path) -> tuple[list[str], np.ndarray, list[np.ndarray]]:
    """Return the names of the columns, the instants [ms] and the columns of numbers."""
    lines = path.read_text(encoding="utf-8").split("\n")
    head = lines[0].split(",")
    rows = [line.split(",") for line in lines[1:] if line]
    cells: list[tuple[str, ...]] = list(zip(*rows, strict=True)) or [()] * len(head)
    if head[0] == "time":
        at_ms = np.array([text.rstrip("Z") for text in cells[0]], dtype="datetime64[ms]")
    else:
        at_ms = np.array(cells[0], dtype=np.float64)
    columns = [np.array([text or "nan" for text in column], dtype=float) for column in cells[1:]]
    return head[1:], at_ms.astype(np.int64), columns


def standing(at_ms: np.ndarray) -> np.ndarray:
    """Return how long each reading stands: to the next, and one usual step before a break. [h]"""
    step = np.median(np.diff(at_ms))
    until_next = np.append(np.diff(at_ms), step).astype(float)
    broken = until_next > max(600_000, 2.5 * step)
    return np.where(broken, step, until_next) / HOUR_MS


if __name__ == "__main__":
    here = Path(__file__).resolve().parent
    sys.exit(main(here, Path(sys.argv[1]) if len(sys.argv) > 1 else None))
