"""Checks an evidence file of joulebook: python check.py, in the folder where it was unpacked.

It needs Python 3.10 or newer, numpy, the other check_*.py beside it, and nothing of joulebook. It
looks whether the files are those that were made together, whether the chain of sealed days holds,
whether the readings are those that were sealed, and works the headline numbers out anew from the
readings. Exit status: 0 where all of that agrees, 1 where something does not.
"""

import base64
import hashlib
import json
import re
import sys
import zlib
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))  # python -I does not look there
sys.dont_write_bytecode = True  # nothing else is to lie in the folder
from check_full import check_round_trip, full_charges  # type: ignore[import-not-found]  # noqa: E402
from check_nights import check_nights  # type: ignore[import-not-found]  # noqa: E402
from check_numbers import (  # type: ignore[import-not-found]  # noqa: E402
    DAY_MS,
    HOUR_MS,
    Array,
    check_sums,
    columns,
    counted,
    known,
    read_pack,
    standing,
    table,
)

#: What the PDF calls each headline number, its decimals there, and what it is multiplied by.
SHOWN = {
    "capacity_ah": ("Capacity, Ah", 1, 1.0),
    "fade": ("Loss a year, % of the start", 2, 100.0),
    "efc": ("Full cycles, equivalent", 1, 1.0),
    "round_trip": ("Round trip (DC), %", 1, 100.0),
    "hours_above_35": ("Hours above 35 °C", 0, 1.0),
    "hours_above_45": ("Hours above 45 °C", 0, 1.0),
}


class Report:
    """What was looked at, a line each, and whether all of it agrees."""

    agrees = True
    results: dict[str, Any]

    def tell(self, words: str, *, good: bool | None) -> None:
        """Print a line; ``None`` for what could not be looked at."""
        self.agrees = self.agrees and (good is None or bool(good))  # numpy's False is not False
        print(f"{'    -' if good is None else '   ok' if good else 'WRONG'}  {words}")

    def compare(self, name: str, found: float | None, within: float, *reach: float) -> None:
        """Compare a number, and how far its interval reaches below and above it: least and most."""
        stated = self.results["headline"][name]
        value, low, high = (stated[each] for each in ("value", "low", "high"))
        words = SHOWN.get(name, ("Hours charged below 0 °C",))[0]
        if value is None:
            # A sum is given wherever anything was read; the others may be refused.
            sure = found is not None and name not in ("capacity_ah", "fade", "round_trip")
            self.tell(f"{words}: not given, since {stated['reason']}", good=False if sure else None)
        elif found is None:
            self.tell(f"{words}: nothing to work it out from", good=None)
        else:
            good = abs(value - found) <= within and reach[0] <= value - low <= reach[1]
            good = good and reach[-2] <= high - value <= reach[-1]
            if len(reach) == 2:  # as far below as above
                good = good and abs(high + low - 2 * value) <= 1e-6 * (high - low)
            interval = f"{value:.5g} [{low:.5g} to {high:.5g}]"
            self.tell(f"{words}: stated {interval}, found {found:.5g} ± {within:.2g}", good=good)


def main(folder: Path, older: Path | None = None) -> int:
    """Check the files of a folder and return the exit status."""
    report = Report()
    if not check_files(folder, report):
        print("the rest was not looked at: unpack the whole file again")
        return 1
    report.results = json.loads((folder / "results.json").read_text(encoding="utf-8"))
    chain = table(folder / "chain.csv")
    check_chain(chain, report)
    if older is not None:
        before = [row["hash"] for row in table(older / "chain.csv")]
        same = [row["hash"] for row in chain[: len(before)]] == before
        report.tell(f"chain: its first {len(before)} links are those of the older file", good=same)
    counters: list[tuple[Array, Array]] = []
    what = folder / "analysed.csv"
    analysed = columns(what) if what.exists() else None
    if (folder / "readings.csv").exists():
        at_ms, series = columns(folder / "readings.csv")
        check_readings(at_ms, series, chain, report)
        if analysed is not None:
            check_analysed(folder, at_ms, series, analysed, report)
        if report.results["readings"]["whole_record"] and not corrected(folder):
            counters = energy_counters(at_ms, series)
    else:
        report.tell("readings: none are in this file", good=None)
    check_pdf((folder / "evidence.pdf").read_bytes(), report)
    if analysed is not None:
        check_sums(folder, *analysed, counters, report)
        pack = read_pack(folder, *analysed, report)
        fulls = full_charges(pack)
        check_round_trip(folder, pack, fulls, report)
        check_nights(folder, pack, fulls, report)
    else:
        why = report.results["headline"]["capacity_ah"]["reason"]
        report.tell(f"no number was measured: {why}", good=None)
    print("all of it agrees" if report.agrees else "something does not agree, see WRONG above")
    return 0 if report.agrees else 1


def check_files(folder: Path, report: Report) -> bool:
    """Compare every file with its sum in the manifest; return whether all are there."""
    lines = (folder / "manifest.txt").read_text(encoding="utf-8").splitlines()
    sums = {name: digest for digest, name in (line.split("  ", 1) for line in lines)}
    there = {name: folder / name for name in sums if (folder / name).is_file()}
    own = {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in there.items()}
    wrong = [name for name in sums if own.get(name) != sums[name]]
    same = f"{len(sums) - len(wrong)} of {len(sums)}"
    report.tell(f"files: {same} are as they were made", good=not wrong)
    for name in wrong:
        report.tell(f"  {name} is missing or was changed", good=False)
    return len(there) == len(sums)


def check_chain(chain: list[dict[str, str]], report: Report) -> None:
    """Follow the chain from its first link."""
    head = "0" * 64
    for number, row in enumerate(chain, start=1):
        linked = " ".join(row[name] for name in ("device", "day", "readings", "digest"))
        head = hashlib.sha256(f"{head} {number} {linked} {row['sealed_ms']}\n".encode()).hexdigest()
        if head != row["hash"]:
            where = f"{row['device']} on {row['day']}"
            report.tell(f"chain: link {number}, {where}, is broken", good=False)
            return
    report.tell(f"chain: {len(chain)} links, each holds the one before; head {head}", good=True)


def check_readings(
    at_ms: Array, series: dict[str, Array], chain: list[dict[str, str]], report: Report
) -> None:
    """Make each day's digest anew from the readings and compare it with its newest link."""
    newest = {(row["device"], row["day"]): row["digest"] for row in chain}
    looked, wrong = 0, []
    for day in np.unique(at_ms // DAY_MS).tolist():
        inside = slice(*np.searchsorted(at_ms, (day * DAY_MS, (day + 1) * DAY_MS)))
        lines: dict[str, list[str]] = {}
        for name, values in series.items():
            when, was = known(at_ms[inside], values[inside])
            path, _, unit = name.rstrip("]").partition(" [")
            device, quantity = path.split(".", 1)
            lines.setdefault(device, [])
            if when.size:
                digest = hashlib.sha256(when.astype("<i8").tobytes() + was.astype("<f8").tobytes())
                lines[device].append(f"{quantity} {unit} {digest.hexdigest()}\n")
        for device, each in lines.items():
            place = device, str(np.datetime64(day, "D"))
            if place in newest:
                looked += 1
                if hashlib.sha256("".join(sorted(each)).encode()).hexdigest() != newest[place]:
                    wrong.append(" on ".join(place))
    same = f"{looked - len(wrong)} of {looked}"
    report.tell(f"readings: {same} sealed days are as sealed", good=not wrong)
    for day in wrong[:20]:
        report.tell(f"  the readings of {day} (UTC) are not those that were sealed", good=False)


def check_analysed(
    folder: Path,
    at_ms: Array,
    series: dict[str, Array],
    analysed: tuple[Array, dict[str, Array]],
    report: Report,
) -> None:
    """Look whether what was analysed is what was read, or its mean over minutes."""
    changed = corrected(folder)
    times, minutes = analysed
    for name, unit, most in zip(minutes, ("V", "A", "Cel"), (0.02, 0.02, 0.1), strict=True):
        quantity = f"{name.rpartition('_')[0]} [{unit}]"
        read = [values for each, values in series.items() if each.endswith(f".{quantity}")]
        if changed or len(read) != 1:
            why = "it was corrected" if changed else f"{len(read)} batteries tell it"
            report.tell(f"analysed: {quantity} is not compared, {why}", good=None)
            continue
        (when, was), (ours, values) = known(at_ms, read[0]), known(times, minutes[name])
        total, hours = counted(when, was), standing(ours)
        begins, ends = ours, ours + hours * HOUR_MS
        begin, end = (np.interp(each, when, total[:-1]) for each in (begins, ends))
        # Where a reading was lost, what stood in its place is a matter of taste.
        late = np.append(0, np.cumsum(np.diff(when) > 1.5 * np.median(np.diff(when))))
        first, last = (np.searchsorted(when, each, side="right") - 1 for each in (begins, ends - 1))
        inside = (begins >= when[0]) & (ends <= when[-1])
        inside &= late[first] == late[np.minimum(last + 1, late.size - 1)]
        off = np.abs((end - begin) / hours - values)[inside]
        mean = float(np.mean(off)) if off.size else 0.0
        words = f"analysed: {quantity} is as read within {mean:.2g}"
        report.tell(words, good=mean <= most if off.size else None)


def corrected(folder: Path) -> bool:
    """Return whether readings were corrected before they were analysed."""
    return any(not row["withdrawn"] for row in table(folder / "corrections.csv"))


def energy_counters(at_ms: Array, series: dict[str, Array]) -> list[tuple[Array, Array]]:
    """Return the battery's counters of energy in and out, where one battery has both."""
    names = (".charge_energy [Wh]", ".discharge_energy [Wh]")
    found = [[known(at_ms, series[each]) for each in series if each.endswith(n)] for n in names]
    return [each[0] for each in found] if all(len(each) == 1 for each in found) else []


def check_pdf(pdf: bytes, report: Report) -> None:
    """Look whether the PDF's table shows these numbers; what is drawn over them we do not see."""
    parts = re.findall(rb"stream\r?\n(.*?)~>\s*endstream", pdf, re.DOTALL)
    text = b"".join(zlib.decompress(base64.a85decode(each)) for each in parts).decode("cp1252")
    shown = re.findall(r"\(((?:[^()\\]|\\.)*)\) Tj", text)
    shown = [re.sub(r"\\(\d{3})", lambda code: chr(int(code[1], 8)), each) for each in shown]
    shown = [re.sub(r"\\(.)", r"\1", each) for each in shown]
    lines = list(zip(shown, shown[1:], shown[2:], strict=False))
    missing = []
    for name, (words, digits, scale) in SHOWN.items():
        stated = report.results["headline"][name]
        if stated["value"] is not None:
            ends = (f"{scale * stated[each]:,.{digits}f}" for each in ("value", "low", "high"))
            value, low, high = (each.replace(",", " ") for each in ends)
            if (words, value, f"{low} to {high}") not in lines:
                missing.append(f"{words}: {value} ({low} to {high})")
    report.tell("PDF: its table shows the numbers that follow", good=not missing)
    for each in missing:
        report.tell(f"  {each} is not in it", good=False)


if __name__ == "__main__":
    here = Path(__file__).resolve().parent
    sys.exit(main(here, Path(sys.argv[1]) if len(sys.argv) > 1 else None))
