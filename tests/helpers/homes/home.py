"""Homes simulated: what their equipment would have logged, beside what is true of them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import Floats, Instants, PackHistory, PowerHistory
from tests.helpers.homes.sensors import THERE, VALUES_MISSING, counted
from tests.helpers.homes.spec import HomeSpec
from tests.helpers.homes.truth import Truth

#: 2022-01-01T00:00:00Z, the first instant of every record. [ms, UTC epoch]
START_MS = 1_640_995_200_000


@dataclass(frozen=True, kw_only=True)
class Log:
    """Readings on a regular grid of steps, small enough to keep many homes; shape (n,) each.

    Attributes
    ----------
    state : uint8
        Whether a reading is there, its row missing, or without voltage and current.
    """

    voltage_mv: NDArray[np.uint16]
    current_ca: NDArray[np.int16]
    temperature_cc: NDArray[np.int16]
    soc_percent: NDArray[np.uint8]
    soh_percent: NDArray[np.uint8]
    pv_w: NDArray[np.int16]
    grid_w: NDArray[np.int16]
    load_w: NDArray[np.int16]
    state: NDArray[np.uint8]

    @classmethod
    def of(cls, state: NDArray[np.uint8], columns: Mapping[str, NDArray[Any]]) -> "Log":
        """Put a log together."""
        return cls(state=state, **columns)


@dataclass(frozen=True, kw_only=True)
class Home:
    """One home: its readings, made into arrays whenever they are asked for, and the truth."""

    spec: HomeSpec
    log: Log
    truth: Truth

    @property
    def step_s(self) -> float:
        """Of the readings; faster logs are averaged to minutes."""
        return float(max(self.spec.step_s, 60))

    @property
    def _kept(self) -> Instants:
        return np.flatnonzero(self.log.state != 1)

    @property
    def at_ms(self) -> Instants:
        """Instants of the rows that are there."""
        return self._kept * int(self.step_s * 1000) + START_MS

    def _battery(self, values: NDArray[np.int16] | NDArray[np.uint16], unit: float) -> Floats:
        kept = self._kept
        column: Floats = values[kept].astype(np.float64) * unit
        column[self.log.state[kept] == VALUES_MISSING] = np.nan
        return column

    @property
    def history(self) -> PackHistory:
        """What was read at the battery."""
        return PackHistory(
            at_ms=self.at_ms,
            voltage_v=self._battery(self.log.voltage_mv, 0.001),
            current_a=self._battery(self.log.current_ca, 0.01),
            temperature_c=self.log.temperature_cc[self._kept].astype(np.float64) * 0.01,
            step_s=self.step_s,
            rated_ah=self.spec.pack.rated_ah,
            cells=self.spec.pack.cells,
        )

    @property
    def powers(self) -> PowerHistory:
        """What was read around it."""
        kept = self._kept
        return PowerHistory(
            pv_w=self.log.pv_w[kept].astype(float),
            grid_w=self.log.grid_w[kept].astype(float),
            load_w=self.log.load_w[kept].astype(float),
            has_load=True,
        )

    @property
    def soc_ratio(self) -> Floats:
        """The battery's claim of its state of charge."""
        ratio: Floats = self.log.soc_percent[self._kept] / 100
        return ratio

    @property
    def soh_ratio(self) -> Floats:
        """The battery's claim of its health."""
        ratio: Floats = self.log.soh_percent[self._kept] / 100
        return ratio

    @property
    def battery_w(self) -> Floats:
        """Power at the battery, by its own sensors; positive while charging."""
        history = self.history
        power: Floats = history.voltage_v * history.current_a
        return power

    @property
    def counters_wh(self) -> tuple[Floats, Floats]:
        """Energy charged and discharged as the battery's own counters have it.

        They are fed by the same sensors, and go on while the log is silent.
        """
        power_w = self.log.voltage_mv.astype(np.float64) * self.log.current_ca * 1e-5
        quantum_wh, kept = self.spec.sensor.counter_quantum_wh, self._kept
        charged = counted(power_w, self.step_s, quantum_wh)[kept]
        return charged, counted(-power_w, self.step_s, quantum_wh)[kept]

    @property
    def present_ratio(self) -> float:
        """Share of the readings that are there whole."""
        return float((self.log.state == THERE).mean())
