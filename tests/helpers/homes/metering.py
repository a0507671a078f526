"""From what truly happened in a chunk to one home's log and its daily truths."""

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import MS_PER_DAY, Floats
from tests.helpers.homes.course import Course, Record
from tests.helpers.homes.home import START_MS
from tests.helpers.homes.sensors import Truths, read_battery
from tests.helpers.homes.spec import HomeSpec

_LEAST_BETWEEN_FULLS = 0.01
Whole = TypeVar("Whole", np.uint8, np.uint16, np.int16)


def log_chunk(
    record: Record, course: Course, home: int, *, first_day: int, inner_s: int,
    pv_w: Floats, load_w: Floats, island: NDArray[np.bool_], claimed_ah: Floats,
) -> None:  # fmt: skip
    """Append a chunk to a home's record.

    Parameters
    ----------
    pv_w, load_w, island : (steps,)
        What panels could give, the load asks for, and where the grid is away.
    claimed_ah : float64 (days,)
        The battery's own idea of its capacity.
    """
    spec, per_day = record.spec, 86_400 // inner_s
    truths = Truths(
        *(
            values[:, home].astype(float)
            for values in (course.voltage_v, course.current_a, course.temperature_c, course.ohm)
        )
    )
    battery_w = truths.voltage_v * truths.current_a
    _note_days(record, course, home, truths.current_a, per_day)
    _note_fulls(record, course.full[:, home], battery_w, first_day, inner_s)
    pv_w, grid_w, load_w = flows(spec, battery_w, pv_w, load_w, island)
    days = len(claimed_ah)
    offset_a = np.repeat(record.offset_a[first_day : first_day + days], per_day)
    voltage, current, temperature = read_battery(record.rng, spec.sensor, truths, offset_a)
    sensor, noise = spec.sensor, record.rng.normal(0, 4, (3, len(pv_w)))
    claimed = np.minimum(claimed_ah / spec.pack.rated_ah, 1.0)
    thin = Thinning(inner_s, spec.step_s)
    record.write(
        voltage_mv=thin(voltage * 1000, np.uint16),
        current_ca=thin(current * 100, np.int16),
        temperature_cc=thin(temperature * 100, np.int16),
        soc_percent=thin(course.claimed_ratio[:, home] * 100.0, np.uint8),
        soh_percent=thin(np.repeat(claimed * 100, per_day), np.uint8),
        pv_w=thin(np.where(pv_w > 5, pv_w * sensor.pv_gain + noise[0], 0.0).clip(0), np.int16),
        grid_w=thin(grid_w * sensor.grid_gain + noise[1], np.int16),
        load_w=thin(load_w * sensor.load_gain + sensor.meter_offset_w + noise[2], np.int16),
    )


class Thinning:
    """From the steps of physics to those of the log: slow ones read, fast ones average."""

    def __init__(self, inner_s: int, step_s: int) -> None:
        self._every = max(step_s // inner_s, 1)
        self._mean_of = max(60 // inner_s, 1) if step_s < 60 else 1

    def __call__(self, values: NDArray[np.floating[Any]], kind: type[Whole]) -> NDArray[Whole]:
        """Return the readings as whole numbers of this kind."""
        limits = np.iinfo(kind)
        rows = values[:: self._every].reshape(-1, self._mean_of).mean(axis=1)
        whole: NDArray[Whole] = np.clip(np.round(rows), limits.min, limits.max).astype(kind)
        return whole


def flows(
    spec: HomeSpec, battery_w: Floats, pv_w: Floats, load_w: Floats, island: NDArray[np.bool_]
) -> tuple[Floats, Floats, Floats]:
    """Return panels, grid and load as they came about. [W]

    What flows in and is neither used nor stored is lost: the inverter's own draw, its losses with
    the load where it feeds it, those of the panels' converter, and of charging from the grid.
    """
    control = spec.control
    feeds = (pv_w > 10) | (battery_w < -20)
    lost_w = control.idle_w + feeds * (
        control.per_load_ratio * load_w + control.per_load_squared * load_w**2
    )
    given_w = pv_w * control.panel_ratio
    lost_w = lost_w + control.per_load_ratio * np.maximum(battery_w - given_w, 0.0)
    grid_w = load_w + lost_w + battery_w - given_w
    # Too much, and nowhere to go: the panels give less. Too little without a grid: the load does.
    stays = (grid_w < 0) & (island | (not control.exports))
    pv_w = np.where(stays, np.maximum(pv_w + grid_w / control.panel_ratio, 0.0), pv_w)
    short = (grid_w > 0) & island
    load_w = np.where(short, np.maximum(load_w - grid_w, 0.0), load_w)
    return pv_w, np.where(stays | short, 0.0, grid_w), load_w


def _note_days(record: Record, course: Course, home: int, current_a: Floats, per_day: int) -> None:
    pack = record.spec.pack
    moved_ah = np.abs(current_a).reshape(-1, per_day).sum(axis=1) * (24 / per_day)
    x = course.x[:, home].reshape(-1, per_day)
    efc = record.efc + np.cumsum(moved_ah) / (2 * pack.rated_ah)
    record.efc = float(efc[-1])
    record.note(
        efc=efc,
        cycles=moved_ah / (2 * pack.rated_ah * pack.start_ratio),
        temperature_c=course.temperature_c[:, home].reshape(-1, per_day).mean(axis=1),
        x=x.mean(axis=1),
        lowest_x=x.min(axis=1),
        highest_x=x.max(axis=1),
        depth=np.clip(x.max(axis=1) - x.min(axis=1), 0.05, 1),
    )


def _note_fulls(
    record: Record, full: NDArray[np.bool_], battery_w: Floats, first_day: int, inner_s: int
) -> None:
    """Note the energy that went in and out whenever the pack became full anew."""
    pack, hours = record.spec.pack, inner_s / 3600
    into = record.moved_wh[0] + np.cumsum(np.maximum(battery_w, 0)) * hours
    out = record.moved_wh[1] + np.cumsum(np.maximum(-battery_w, 0)) * hours
    record.moved_wh = np.array([into[-1], out[-1]])
    least_wh = _LEAST_BETWEEN_FULLS * pack.rated_ah * pack.cells * 3.3
    for row in np.flatnonzero(full[1:] & ~full[:-1]) + 1:
        if not record.fulls or out[row] - record.fulls[-1][2] > least_wh:
            at_ms = START_MS + first_day * MS_PER_DAY + (row + 1) * inner_s * 1000
            record.fulls.append(np.array([at_ms, into[row], out[row]]))
