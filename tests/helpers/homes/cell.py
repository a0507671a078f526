"""Rest voltage of the cells of many packs: one family of curves, each home with its own errors.

A curve is made of a lower part, which belongs to the charge above empty, and an upper knee, which
belongs to the charge below full. Lost lithium brings the knee nearer and leaves the lower part
where it was; lost material shrinks the lower part as well.
"""

from collections.abc import Sequence

import numpy as np

from joulebook.core.history import Floats
from tests.helpers.homes.spec import HomeSpec

# Common practice of the trade for large cells, no source; without the knee at the top.
_BASE_X = (0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.4, 0.5, 0.6, 0.65, 0.7, 0.8, 0.9, 1)
_BASE_V = (
    *(2.72, 2.96, 3.11, 3.2, 3.227, 3.252, 3.27, 3.284),
    *(3.294, 3.299, 3.309, 3.324, 3.331, 3.334, 3.338, 3.3405),
)
# A published small cell: M. Naumann et al., J. Energy Storage 17 (2018) 153; straight at 65 %.
_SMALL_X = (0.2, 0.3, 0.4, 0.5, 0.6, 0.65, 0.7, 0.8, 0.9)
_SMALL_V = (3.2306, 3.2675, 3.2894, 3.2994, 3.3031, 3.30595, 3.3088, 3.325, 3.3419)
# Share of the knee's height at a distance from full, of the pack's first charge.
_KNEE_D = (-0.02, 0, 0.01, 0.02, 0.035, 0.05, 0.1)
_KNEE_SHARE = (2.6, 1, 0.58, 0.2955, 0.13, 0.059, 0)

LOWEST_X, HIGHEST_X, GRID = -0.03, 1.03, 2120
PER_X = GRID / (HIGHEST_X - LOWEST_X)
GRID_X = np.linspace(LOWEST_X, HIGHEST_X, GRID + 1)
_ERROR_REACH = 0.1


def smooth_through(x: Sequence[float], y: Sequence[float], at: Floats) -> Floats:
    """Return a monotone cubic through the points (Fritsch and Carlson 1980; straight outside)."""
    px, py = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    width, rise = np.diff(px), np.diff(py) / np.diff(px)
    slope = np.concatenate([rise[:1], np.zeros(len(px) - 2), rise[-1:]])
    same = rise[:-1] * rise[1:] > 0
    slope[1:-1][same] = 2 * rise[:-1][same] * rise[1:][same] / (rise[:-1] + rise[1:])[same]
    place = np.clip(np.searchsorted(px, at, side="right") - 1, 0, len(px) - 2)
    s, step = (at - px[place]) / width[place], py[place + 1] - py[place]
    start, end = width[place] * slope[place], width[place] * slope[place + 1]
    inside = py[place] + s * (
        start + s * (3 * step - 2 * start - end + s * (start + end - 2 * step))
    )
    below, above = py[0] + slope[0] * (at - px[0]), py[-1] + slope[-1] * (at - px[-1])
    result: Floats = np.where(at < px[0], below, np.where(at > px[-1], above, inside))
    return result


def _error_v(spec: HomeSpec) -> Floats:
    """Return a smooth random error with the home's standard deviation, over the grid. [V]"""
    rng = np.random.default_rng((spec.seed, 1))
    at = np.arange(-0.05, 1.06, 0.05)
    alike = np.exp(-(((at[:, None] - at[None, :]) / _ERROR_REACH) ** 2) / 2)
    drawn = np.linalg.cholesky(alike + 1e-6 * np.eye(at.size)) @ rng.standard_normal(at.size)
    return np.interp(GRID_X, at, drawn) * spec.pack.curve_error_v


class Curves:
    """The rest voltage of each home's pack, by its state of charge, as it ages.

    Attributes
    ----------
    voltage, rise : float64 (homes, GRID + 1)
        On the grid, and to its next point. [V]
    offset : int (homes,)
        Where each home's row begins in the flattened arrays.
    """

    def __init__(self, specs: Sequence[HomeSpec]) -> None:
        generic = smooth_through(_BASE_X, _BASE_V, GRID_X)
        small = np.interp(
            GRID_X, _SMALL_X, np.array(_SMALL_V) - np.interp(_SMALL_X, _BASE_X, _BASE_V)
        )
        self._base = np.empty((len(specs), GRID + 1))
        self._cells = [spec.pack.cells for spec in specs]
        self._height = np.empty(len(specs))
        self._width = np.array([spec.pack.knee_width for spec in specs])
        self._lithium = np.array([spec.pack.lithium_share for spec in specs])
        for row, spec in enumerate(specs):
            fade_in = np.clip(GRID_X / 0.2, 0, 1) * np.clip((1.05 - GRID_X) / 0.1, 0, 1)
            lower = generic + _error_v(spec) + spec.pack.curve_towards_small_cell * small * fade_in
            self._base[row] = np.maximum.accumulate(lower + 1e-4 * GRID_X)
            top = self._base[row][np.searchsorted(GRID_X, 1.0)]
            self._height[row] = spec.control.full_cell_v - spec.pack.hysteresis_v - top
        self.offset = np.arange(len(specs)) * (GRID + 1)
        self.voltage = np.empty((len(specs), GRID + 1))
        self.rise = np.empty((len(specs), GRID + 1))
        self.age(np.zeros(len(specs)))

    def age(self, loss: Floats) -> None:
        """Redraw the curves after a loss, as a share of the first capacity, shape (homes,)."""
        for row, lost in enumerate(loss):
            left = 1 - lost
            below = GRID_X * left / (1 - lost * (1 - self._lithium[row]))
            knee = smooth_through(
                [d * self._width[row] for d in _KNEE_D], _KNEE_SHARE, (1 - GRID_X) * left
            )
            knee = np.where((1 - GRID_X) * left > _KNEE_D[-1] * self._width[row], 0.0, knee)
            lower = np.interp(below, GRID_X, self._base[row])
            cell_v = np.maximum.accumulate(lower + self._height[row] * knee)
            self.voltage[row] = cell_v * self._cells[row]
            self.rise[row, :-1] = np.diff(self.voltage[row])
            self.rise[row, -1] = self.rise[row, -2]

    def rest_v(self, x: Floats) -> Floats:
        """Return the rest voltage of each home's pack between its branches. [V]"""
        place = np.clip((x - LOWEST_X) * PER_X, 0, GRID - 1e-9)
        whole = place.astype(np.intp)
        index = whole + self.offset
        value: Floats = self.voltage.take(index) + self.rise.take(index) * (place - whole)
        return value
