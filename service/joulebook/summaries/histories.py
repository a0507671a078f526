"""A site's whole record, read and corrected, on the time axis of its battery."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from joulebook.core import corrections as correcting
from joulebook.core.below_zero import impossible, is_turned_around
from joulebook.core.corrections import Correction
from joulebook.core.curves import usual_max_gap_s
from joulebook.core.history import Floats, Instants, PackHistory, PowerHistory
from joulebook.core.minutes import minute_means, resampled
from joulebook.core.powers import CURRENT_RECIPES, POWER_RECIPES, Recipe
from joulebook.core.quantities import kind_of
from joulebook.core.spans import Span
from joulebook.storage.corrections import corrections_of
from joulebook.storage.database import Connection
from joulebook.storage.reading import readings_span, stream_device
from joulebook.storage.records import Site
from joulebook.summaries.stretches import series_names

#: Rows that are analysed at once: three years of minutes. Each takes some 250 bytes meanwhile.
MOST_ROWS = 1_600_000
#: A longer record is averaged to more minutes, but not to more than these. [min]
_MOST_MINUTES = 5
_MINUTE_MS = 60_000
#: Readings as far apart as this share of a step stay as they are.
_NEARLY_STEP = 5 / 6
_BATTERY = (
    *("voltage", "current", "power", "temperature", "soc", "soh"),
    *("cell_voltage_min", "cell_voltage_max", "charge_energy", "discharge_energy"),
)
_VOLTAGE = Recipe(("voltage",), "voltage")


class NoRecordError(Exception):
    """Nothing can be measured of a site's battery; the sentence says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteHistory:
    """A site's record; every array has the battery's time axis, NaN where missing.

    Attributes
    ----------
    pack, powers : PackHistory, PowerHistory
        The battery, and what is around it.
    charge_counter_wh, discharge_counter_wh : float64 (n,) or None
        Of all batteries together; ``None`` where one of them has none. [Wh]
    soc_ratio, soh_ratio : float64 (n,) or None
        What the battery claims, the mean of several.
    spread_v : float64 (n,) or None
        Highest less lowest cell, the widest of several batteries. [V]
    words : tuple of str
        Which series it was made of, and how.
    """

    pack: PackHistory
    powers: PowerHistory
    charge_counter_wh: Floats | None
    discharge_counter_wh: Floats | None
    soc_ratio: Floats | None
    soh_ratio: Floats | None
    spread_v: Floats | None
    words: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Columns:
    at_ms: Instants
    values: Mapping[str, Floats]


def read_history(
    connection: Connection, site: Site, *, max_gap_s: float, span: Span | None = None
) -> SiteHistory:
    """Read a site's record, or the part of it that lies in a span.

    Several batteries in parallel are one: currents added, voltages averaged.

    Raises
    ------
    NoRecordError
        If the battery's voltage and current were never read together, or the owner did not enter
        what it is rated.
    """
    if site.battery_ah is None or site.battery_cells is None:
        raise NoRecordError("the battery's rated charge and cells in series were not entered")
    names = series_names(connection, site)
    batteries = _of_kind(names, "battery")
    if not batteries:
        raise NoRecordError("the site has no battery device")
    span = span or readings_span(connection, site.id) or Span(0, 0)
    reader = _Reader(connection, site, span, corrections_of(connection, site.id))
    packs = [reader.read(device, names[device] & frozenset(_BATTERY)) for device in batteries]
    axis = _axis(packs)
    together = [_on_axis(pack, axis, max_gap_s) for pack in packs]
    voltage, current = (_joined(together, recipes) for recipes in ((_VOLTAGE,), CURRENT_RECIPES))
    if np.count_nonzero(~np.isnan(voltage[0] + current[0])) < 2:
        raise NoRecordError("the battery's voltage and current were never read together")
    temperature, warmth = _temperature(reader, names, together, axis, max_gap_s)
    powers, words = _powers(reader, names, axis, max_gap_s)
    claims = {name: _mean_of(together, name) for name in ("soc", "soh")}
    counters = [_sum_of(together, name) for name in ("charge_energy", "discharge_energy")]
    return SiteHistory(
        pack=PackHistory(
            at_ms=axis,
            voltage_v=voltage[0] / len(packs),
            current_a=current[0],
            temperature_c=temperature,
            step_s=float(np.median(np.diff(axis))) / 1000,
            rated_ah=site.battery_ah,
            cells=site.battery_cells,
        ),
        powers=powers,
        charge_counter_wh=counters[0],
        discharge_counter_wh=counters[1],
        soc_ratio=claims["soc"],
        soh_ratio=claims["soh"],
        spread_v=_spread_of(together),
        words=(
            f"{' + '.join(batteries)}: {voltage[1]}, {current[1]}",
            warmth,
            *words,
        ),
    )


class _Reader:
    """Reads a device's whole record, corrected; averaged to minutes where it was logged faster."""

    def __init__(
        self, connection: Connection, site: Site, span: Span, corrections: Sequence[Correction]
    ) -> None:
        self._connection = connection
        self._site = site
        self._span = span
        self._corrections = corrections
        minutes = math.ceil(span.length_s / 60 / MOST_ROWS)
        self._step_ms = min(max(minutes, 1), _MOST_MINUTES) * _MINUTE_MS

    def read(self, device: str, quantities: frozenset[str]) -> _Columns:
        wanted = sorted(quantities)
        parts = [
            self._reduced(part.at_ms, self._corrected(device, part.at_ms, part.values))
            for part in stream_device(
                self._connection, self._site.id, device, self._span, quantities=wanted
            )
            if part.at_ms.size
        ]
        if not parts:
            return _Columns(np.empty(0, np.int64), {name: np.empty(0) for name in wanted})
        return _Columns(
            np.concatenate([part.at_ms for part in parts]),
            {name: np.concatenate([part.values[name] for part in parts]) for name in wanted},
        )

    def _corrected(
        self, device: str, at_ms: Instants, values: Mapping[str, Floats]
    ) -> dict[str, Floats]:
        return {
            name: correcting.apply(self._corrections, device, name, at_ms, column)
            for name, column in values.items()
        }

    def _reduced(self, at_ms: Instants, values: Mapping[str, Floats]) -> _Columns:
        if at_ms.size < 2 or np.median(np.diff(at_ms)) >= _NEARLY_STEP * self._step_ms:
            return _Columns(at_ms, values)
        gap_s = usual_max_gap_s(at_ms)
        return _Columns(*minute_means(at_ms, values, max_gap_s=gap_s, step_ms=self._step_ms))


def _of_kind(names: Mapping[str, frozenset[str]], kind: str) -> list[str]:
    return sorted(device for device in names if kind_of(device) == kind)


def _axis(packs: Sequence[_Columns]) -> Instants:
    """Return the instants of the battery that was read most."""
    return max((pack.at_ms for pack in packs), key=lambda at_ms: at_ms.size)


def _on_axis(columns: _Columns, axis: Instants, max_gap_s: float) -> dict[str, Floats]:
    if np.array_equal(columns.at_ms, axis):
        return dict(columns.values)
    return {
        name: resampled(axis, columns.at_ms, values, max_gap_s=max_gap_s)
        for name, values in columns.values.items()
    }


def _joined(packs: Sequence[Mapping[str, Floats]], recipes: Sequence[Recipe]) -> tuple[Floats, str]:
    """Return the sum over batteries of the first recipe that each of them has, and its words."""
    total, words = None, []
    for pack in packs:
        recipe = next((one for one in recipes if set(one.needs) <= pack.keys()), None)
        if recipe is None:
            raise NoRecordError(
                f"a battery reports no {recipes[0].words}, which all of this is measured with"
            )
        made = recipe.make(*(pack[name] for name in recipe.needs))
        total = made if total is None else total + made
        words.append(recipe.words)
    assert total is not None
    return total, " + ".join(dict.fromkeys(words))


def _mean_of(packs: Sequence[Mapping[str, Floats]], name: str) -> Floats | None:
    summed = _sum_of(packs, name)
    return None if summed is None else summed / len(packs)


def _sum_of(packs: Sequence[Mapping[str, Floats]], name: str) -> Floats | None:
    if any(name not in pack for pack in packs):
        return None
    summed: Floats = np.sum([pack[name] for pack in packs], axis=0)
    return summed


def _spread_of(packs: Sequence[Mapping[str, Floats]]) -> Floats | None:
    if any(not {"cell_voltage_min", "cell_voltage_max"} <= pack.keys() for pack in packs):
        return None
    apart = [pack["cell_voltage_max"] - pack["cell_voltage_min"] for pack in packs]
    widest: Floats = np.max(apart, axis=0)
    return widest


def _temperature(
    reader: _Reader,
    names: Mapping[str, frozenset[str]],
    packs: Sequence[Mapping[str, Floats]],
    axis: Instants,
    max_gap_s: float,
) -> tuple[Floats, str]:
    own = _mean_of(packs, "temperature")
    if own is not None:
        return own, "temperature: the battery's own"
    for device in _of_kind(names, "ambient"):
        if "temperature" in names[device]:
            air = reader.read(device, frozenset({"temperature"}))
            # Air changes slowly: an hour without a reading is bridged.
            line = resampled(
                axis, air.at_ms, air.values["temperature"], max_gap_s=max(max_gap_s, 3600.0)
            )
            return line, f"temperature: that of {device}, for the battery reports none"
    return np.full(axis.size, np.nan), "temperature: none was read"


def _powers(
    reader: _Reader, names: Mapping[str, frozenset[str]], axis: Instants, max_gap_s: float
) -> tuple[PowerHistory, list[str]]:
    powers, words, known = {}, [], {}
    for kind in ("pv", "grid", "load"):
        powers[kind] = np.zeros(axis.size)
        devices = _of_kind(names, kind)
        known[kind] = bool(devices)
        for device in devices:
            recipe = next(
                (one for one in POWER_RECIPES[kind] if set(one.needs) <= names[device]), None
            )
            if recipe is None:
                powers[kind] = np.full(axis.size, np.nan)
                words.append(f"{device}: reports nothing that gives its power")
                continue
            read = reader.read(device, frozenset(recipe.needs))
            parts = [read.values[name] for name in recipe.needs]
            made = recipe.make(*(parts if kind == "grid" else map(_possible, parts)))
            if kind != "grid":
                made = _possible(made)
            powers[kind] = powers[kind] + resampled(axis, read.at_ms, made, max_gap_s=max_gap_s)
            words.append(f"{device}: {recipe.words}")
    return (
        PowerHistory(
            pv_w=powers["pv"],
            grid_w=powers["grid"],
            load_w=powers["load"],
            has_load=known["load"],
        ),
        words,
    )


def _possible(power_w: Floats) -> Floats:
    """Return what panels or a load gave, without what a clamp the wrong way round reads."""
    if is_turned_around(power_w):
        return np.full(power_w.size, np.nan)
    below = impossible(power_w)
    return np.where(below, np.nan, power_w) if below.any() else power_w
