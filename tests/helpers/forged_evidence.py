"""Evidence files in which somebody changed numbers, all sums made to fit."""

import csv
import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

Night = dict[str, str]
_OF_A_NIGHT = ("drawn_ah", "ah", "low_ah", "high_ah")


@dataclass(frozen=True, slots=True)
class Push:
    """A way to change a file, by any size above zero, upwards or downwards.

    Attributes
    ----------
    name, unit : str
        What is changed, and what a size of one is.
    apply : callable
        Given a file, the size and +1 or -1.
    number : str
        The headline number that it is about.
    """

    name: str
    unit: str
    apply: Callable[["Forged", float, int], None]
    number: str


class Forged:
    """A copy of an unpacked file; every push begins from the true one."""

    def __init__(self, true: Path, folder: Path) -> None:
        self.true, self.folder = true, folder
        folder.mkdir()
        for file in true.iterdir():
            (folder / file.name).symlink_to(file)
        self._results = json.loads((true / "results.json").read_text(encoding="utf-8"))
        self._nights = list(csv.DictReader(io.StringIO((true / "nights.csv").read_text("utf-8"))))
        self.curve = np.loadtxt(true / "curve.csv", delimiter=",", skiprows=1).T

    def restore(self) -> None:
        """Put the true files back."""
        for file in self.true.iterdir():
            place = self.folder / file.name
            if not place.is_symlink():
                place.unlink()
                place.symlink_to(file)

    def write(self, name: str, text: str) -> None:
        """Write another text in the place of a file."""
        (self.folder / name).unlink()
        (self.folder / name).write_text(text, encoding="utf-8")

    @property
    def results(self) -> dict[str, Any]:
        """The true results, to be changed and written."""
        results: dict[str, Any] = json.loads(json.dumps(self._results))
        return results

    @property
    def nights(self) -> list[Night]:
        """The true nights, likewise."""
        return [dict(night) for night in self._nights]

    def write_results(self, results: dict[str, Any]) -> None:
        """Write results."""
        self.write("results.json", json.dumps(results))

    def write_nights(self, nights: list[Night]) -> None:
        """Write nights."""
        out = io.StringIO()
        writer = csv.DictWriter(out, list(self._nights[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(nights)
        self.write("nights.csv", out.getvalue())

    def move(self, name: str, by: float, *, value: bool = True, ends: float = 0.0) -> None:
        """Move a headline number by so much, and its ends: with it (1), not (0)."""
        results = self.results
        stated = results["headline"][name]
        stated["value"] += by if value else 0.0
        stated["low"] += ends * by
        stated["high"] += ends * by
        self.write_results(results)

    def widen(self, name: str, by: float) -> None:
        """Move a number by so much and widen its interval until it holds all that it held."""
        results = self.results
        stated = results["headline"][name]
        stated["value"] += by
        stated["low"] = min(stated["low"], stated["low"] + 2 * by)
        stated["high"] = max(stated["high"], stated["high"] + 2 * by)
        self.write_results(results)


def scaled(night: Night, factor: float, names: tuple[str, ...] = _OF_A_NIGHT) -> Night:
    """Return a night with some of its numbers scaled; what it does not tell stays empty."""
    return night | {name: f"{float(night[name]) * factor:.2f}" for name in names if night["ah"]}


def one_night(file: Forged, size: float, sign: int) -> None:
    """Scale what one night in the middle implies, and nothing else."""
    nights = file.nights
    counting = [place for place, night in enumerate(nights) if night["counts"] == "1"]
    place = counting[len(counting) // 2]
    nights[place] = scaled(nights[place], 1 + sign * size, ("ah", "low_ah", "high_ah"))
    file.write_nights(nights)


def all_nights(file: Forged, size: float, sign: int) -> None:
    """Scale what was drawn each night, what it implies, and the capacity with it."""
    file.write_nights([scaled(night, 1 + sign * size) for night in file.nights])
    _capacity(file, 1 + sign * size)


def rest_voltages(file: Forged, size: float, sign: int) -> None:
    """Move each night's rest voltage, so that all imply so much more or less, and the capacity."""
    state, volts = file.curve
    changed = []
    for night in file.nights:
        if night["ah"]:
            x, cold = float(night["state_ratio"]), max(25 - float(night["temperature_c"]), 0.0)
            share = 0.999 - x - 0.0025 * cold * (1 - x)
            other = x + share * (1 - 1 / (1 + sign * size)) / (1 - 0.0025 * cold)
            night = scaled(night, 1 + sign * size, ("ah", "low_ah", "high_ah"))
            night["state_ratio"] = f"{other:.4f}"
            night["cell_v"] = f"{float(np.interp(other, state, volts)):.4f}"
        changed.append(night)
    file.write_nights(changed)
    _capacity(file, 1 + sign * size)


def voltmeter(file: Forged, size: float, sign: int) -> None:
    """Move the voltmeter's zero by size volts a cell, with all nights and the capacity."""
    state, volts = file.curve
    changed, factors = [], []
    for night in file.nights:
        if night["ah"]:
            cold = max(25 - float(night["temperature_c"]), 0.0)
            v = float(night["cell_v"]) + sign * size
            x = float(np.interp(v, volts, state))
            share = 0.999 - x - 0.0025 * cold * (1 - x)
            factor = float(night["drawn_ah"]) / share / float(night["ah"])
            night = scaled(night, factor, ("ah", "low_ah", "high_ah"))
            night |= {"state_ratio": f"{x:.4f}", "cell_v": f"{v:.4f}"}
            factors.append(factor)
        changed.append(night)
    file.write_nights(changed)
    results = file.results
    measured = results["wear"]["measured"]
    measured["voltmeter_zero_v"] = (measured["voltmeter_zero_v"] or 0.0) - sign * size
    file.write_results(_with_capacity(results, float(np.median(factors))))


def offset(file: Forged, size: float, sign: int) -> None:
    """Move the sensor's offset by size amperes, with all nights and the capacity."""
    head, *lines = (file.true / "offset.csv").read_text(encoding="utf-8").splitlines()
    cells = [line.split(",") for line in lines]
    moved = [f"{at},{float(a) + sign * size},{u}" for at, a, u in cells]
    file.write("offset.csv", "\n".join([head, *moved]) + "\n")
    nights, factors = [], []
    for night in file.nights:
        if night["ah"]:
            full, low = (np.datetime64(night[each][:16]) for each in ("full", "low"))
            more = sign * size * float((low - full) / np.timedelta64(1, "h"))
            factor = 1 + more / float(night["drawn_ah"])
            night = scaled(night, factor)
            night["correction_ah"] = f"{float(night['correction_ah']) + more:.2f}"
            factors.append(factor)
        nights.append(night)
    file.write_nights(nights)
    file.write_results(_with_capacity(file.results, float(np.median(factors))))


def currents(file: Forged, size: float, sign: int) -> None:
    """Scale all analysed currents, and with them nights, cycles and the capacity."""
    factor = 1 + sign * size
    head, *lines = (file.true / "analysed.csv").read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in lines]
    written = [",".join((at, v, f"{float(a) * factor}" if a else a, c)) for at, v, a, c in rows]
    file.write("analysed.csv", "\n".join([head, *written]) + "\n")
    names = (*_OF_A_NIGHT, "correction_ah")
    file.write_nights([scaled(night, factor, names) for night in file.nights])
    results = _with_capacity(file.results, factor)
    for each in ("value", "low", "high"):
        results["headline"]["efc"][each] *= factor
    file.write_results(results)


def not_counting(file: Forged, size: float, sign: int) -> None:
    """Let a share of the nights not count: those that imply least (up), or most (down)."""
    nights = file.nights
    counting = [night for night in nights if night["counts"] == "1"]
    counting.sort(key=lambda night: sign * float(night["ah"]))
    for night in counting[: max(round(size * len(counting)), 1)]:
        night |= {"counts": "0", "reason": "it ended too high"}
    file.write_nights(nights)


def hidden(file: Forged, size: float, sign: int) -> None:
    """Take a share of the nights out of the list: those that imply least (up), or most (down)."""
    nights = file.nights
    telling = sorted((n for n in nights if n["ah"]), key=lambda night: sign * float(night["ah"]))
    gone = {night["full"] for night in telling[: max(round(size * len(telling)), 1)]}
    file.write_nights([night for night in nights if night["full"] not in gone])


def _capacity(file: Forged, factor: float) -> None:
    file.write_results(_with_capacity(file.results, factor))


def _with_capacity(results: dict[str, Any], factor: float) -> dict[str, Any]:
    for each in ("value", "low", "high"):
        results["headline"]["capacity_ah"][each] *= factor
    return results


def _of_number(name: str, words: str, unit: str, scale: Callable[[Forged], float]) -> list[Push]:
    def with_interval(file: Forged, size: float, sign: int) -> None:
        file.move(name, sign * size * scale(file), ends=1.0)

    def alone(file: Forged, size: float, sign: int) -> None:
        file.move(name, sign * size * scale(file))

    def widened(file: Forged, size: float, sign: int) -> None:
        file.widen(name, sign * size * scale(file))

    return [
        Push(f"{words}, with its interval", unit, with_interval, name),
        Push(f"{words}, alone", unit, alone, name),
        Push(f"{words}, interval widened over it", unit, widened, name),
    ]


def _relative(name: str) -> Callable[[Forged], float]:
    return lambda file: float(file.results["headline"][name]["value"]) / 100


def _hundredth(_file: Forged) -> float:
    return 0.01


def _one(_file: Forged) -> float:
    return 1.0


def _percent(push: Callable[[Forged, float, int], None]) -> Callable[[Forged, float, int], None]:
    return lambda file, size, sign: push(file, size / 100, sign)


def _thousandths(
    push: Callable[[Forged, float, int], None],
) -> Callable[[Forged, float, int], None]:
    return lambda file, size, sign: push(file, size / 1000, sign)


PUSHES = (
    *_of_number("capacity_ah", "capacity", "%", _relative("capacity_ah")),
    *_of_number("fade", "loss a year", "points", _hundredth),
    *_of_number("round_trip", "round trip", "points", _hundredth),
    *_of_number("efc", "full cycles", "%", _relative("efc")),
    *_of_number("hours_above_35", "hours above 35 °C", "h", _one),
    *_of_number("hours_above_45", "hours above 45 °C", "h", _one),
    *_of_number("freezing_h", "hours charged below 0 °C", "h", _one),
    Push("one night's capacity", "%", _percent(one_night), "capacity_ah"),
    Push("all nights and the capacity", "%", _percent(all_nights), "capacity_ah"),
    Push("all rest voltages and the capacity", "%", _percent(rest_voltages), "capacity_ah"),
    Push("voltmeter's zero, nights, capacity", "mV", _thousandths(voltmeter), "capacity_ah"),
    Push("sensor's offset, nights, capacity", "mA", _thousandths(offset), "capacity_ah"),
    Push("analysed currents and all from them", "%", _percent(currents), "capacity_ah"),
    Push("nights that do not count", "% of them", _percent(not_counting), "capacity_ah"),
    Push("nights taken out of the list", "% of them", _percent(hidden), "capacity_ah"),
)
