"""Which series of a site make its powers, currents and levels, and the words that say so."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from joulebook.core.below_zero import impossible, is_turned_around
from joulebook.core.curves import MAX_GAP_S, Curve, curve, total, usual_max_gap_s
from joulebook.core.quantities import kind_of, quantity_of

Values = Mapping[str, NDArray[np.float64]]


@dataclass(frozen=True, slots=True)
class DeviceArrays:
    """Readings of one device: instants [ms, UTC epoch] and quantities, NaN missing."""

    at_ms: NDArray[np.int64]
    values: Values


_SILENT = DeviceArrays(np.empty(0, np.int64), {})


@dataclass(frozen=True, slots=True)
class Recipe:
    """One way to get a quantity from what a device reports."""

    needs: tuple[str, ...]
    words: str
    make: Callable[..., NDArray[np.float64]] = field(default=lambda value: value)


_POWER = Recipe(("power",), "power")
_PRODUCT = Recipe(("voltage", "current"), "voltage times current", np.multiply)
_LEGS = Recipe(("power_l1", "power_l2"), "sum of both legs", np.add)

#: The first recipe that a device has ever had the series for is used; the two are never mixed,
#: for a power register and volts times amperes can differ by some tenths of a percent.
POWER_RECIPES: dict[str, tuple[Recipe, ...]] = {
    "battery": (_POWER, _PRODUCT),
    "pv": (_POWER, _PRODUCT),
    "grid": (_POWER,),
    "load": (_POWER, _LEGS),
}
CURRENT_RECIPES = (
    Recipe(("current",), "current"),
    Recipe(
        ("power", "voltage"), "power over voltage", lambda power, voltage: _ratio(power, voltage)
    ),
)


@dataclass(frozen=True, slots=True)
class Source:
    """A curve made of one or more devices, and of which; ``None`` where the site has none.

    ``trouble`` is a sentence for a person where readings are there and cannot be believed.
    """

    line: Curve | None
    words: str
    trouble: str | None = None


class SeriesSources:
    """Finds the series of a site and makes curves of them, device by device.

    Parameters
    ----------
    devices : mapping of device name to DeviceArrays
        What was measured.
    site_series : mapping of device name to a set of quantity names
        Everything the site has reported so far. A device that is silent now counts as unknown,
        one that the site did not have yet as not there.
    limit_s : float
        No line bridges more. [s]
    """

    def __init__(
        self,
        devices: Mapping[str, DeviceArrays],
        site_series: Mapping[str, frozenset[str]],
        *,
        limit_s: float = MAX_GAP_S,
    ) -> None:
        self._devices = devices
        self._site_series = site_series
        self._limit_s = limit_s
        self._gaps_s: dict[str, float] = {}

    def power(self, kind: str) -> Source:
        """Return the power of all devices of a kind together. [W]"""
        return self._summed(kind, POWER_RECIPES[kind], "power")

    def battery_current(self) -> Source:
        """Return the current of all batteries together. [A]"""
        return self._summed("battery", CURRENT_RECIPES, "current")

    def each(self, kind: str, quantity: str) -> list[Curve]:
        """Return one curve for each device of a kind that has ever reported a quantity."""
        return [
            self._line(device, Recipe((quantity,), quantity))
            for device in self._of_kind(kind)
            if quantity in self._site_series[device]
        ]

    def each_reading(
        self, kind: str, quantity: str
    ) -> list[tuple[NDArray[np.int64], NDArray[np.float64]]]:
        """Return instants and readings of each device of a kind that ever reported a quantity."""
        found = []
        for device in self._of_kind(kind):
            if quantity in self._site_series[device]:
                readings = self._devices.get(device, _SILENT)
                silent = np.full(readings.at_ms.size, np.nan)
                found.append((readings.at_ms, readings.values.get(quantity, silent)))
        return found

    def _summed(self, kind: str, recipes: tuple[Recipe, ...], what: str) -> Source:
        devices = self._of_kind(kind)
        if not devices:
            return Source(None, f"{kind}: the site has no such device, counted as not there")
        parts = [
            self._part(device, recipe)
            for device in devices
            if (recipe := self._recipe(device, recipes)) is not None
        ]
        if not parts:
            return Source(_unknown(), f"{kind}: reports nothing that gives its {what}")
        return Source(
            total([line for line, _, _ in parts]),
            f"{kind} {what}: {' + '.join(words for _, words, _ in parts)}",
            next((trouble for _, _, trouble in parts if trouble), None),
        )

    def _recipe(self, device: str, recipes: tuple[Recipe, ...]) -> Recipe | None:
        reported = self._site_series[device]
        return next((recipe for recipe in recipes if reported.issuperset(recipe.needs)), None)

    def _part(self, device: str, recipe: Recipe) -> tuple[Curve, str, str | None]:
        """Return what a device gives, the words for it, and what is wrong with it."""
        words = f"{device}/{recipe.words}"
        value = self._made(device, recipe)
        if value is None:
            return _unknown(), words, None
        left_out = np.zeros(value.shape, dtype=np.bool_)
        for name, power_w in self._never_negative(device, recipe, value).items():
            if is_turned_around(power_w):
                return (
                    _unknown(),
                    f"{words} (left out: below zero)",
                    f"{device}/{name} reads below zero, where nothing can flow: its clamp is the "
                    "wrong way round, or its sign set so. Have that put right, and enter a sign "
                    "correction for the readings until then",
                )
            left_out |= impossible(power_w)
        if left_out.any():
            value = np.where(left_out, np.nan, value)
            words = f"{words} (readings below zero left out)"
        return self._curve(device, value), words, None

    def _never_negative(
        self, device: str, recipe: Recipe, made: NDArray[np.float64]
    ) -> dict[str, NDArray[np.float64]]:
        """Return the powers that cannot be below zero: both legs, not just their sum."""
        if kind_of(device) not in {"pv", "load"}:
            return {}
        powers = {
            name: self._devices[device].values[name]
            for name in recipe.needs
            if (known := quantity_of(device, name)) is not None and known.never_negative
        }
        return powers or {recipe.words: made}

    def _of_kind(self, kind: str) -> list[str]:
        return sorted(device for device in self._site_series if kind_of(device) == kind)

    def _line(self, device: str, recipe: Recipe) -> Curve:
        value = self._made(device, recipe)
        return _unknown() if value is None else self._curve(device, value)

    def _made(self, device: str, recipe: Recipe) -> NDArray[np.float64] | None:
        readings = self._devices.get(device)
        if readings is None or any(name not in readings.values for name in recipe.needs):
            return None
        return recipe.make(*(readings.values[name] for name in recipe.needs))

    def _curve(self, device: str, value: NDArray[np.float64]) -> Curve:
        at_ms = self._devices[device].at_ms
        gap_s = None if np.isnan(value).any() else self._gap_s(device, at_ms)
        return curve(at_ms, value, max_gap_s=gap_s, limit_s=self._limit_s)

    def _gap_s(self, device: str, at_ms: NDArray[np.int64]) -> float:
        """Return the longest step of quantities that every message of a device brought. [s]"""
        if device not in self._gaps_s:
            self._gaps_s[device] = usual_max_gap_s(at_ms, limit_s=self._limit_s)
        return self._gaps_s[device]


def _ratio(power: NDArray[np.float64], voltage: NDArray[np.float64]) -> NDArray[np.float64]:
    amperes = np.full(power.shape, np.nan)
    np.divide(power, voltage, out=amperes, where=voltage > 0)
    return amperes


def _unknown() -> Curve:
    return Curve(np.empty(0, np.int64), np.empty(0), np.empty(0, np.bool_))
