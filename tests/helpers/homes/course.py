"""What is gathered while time goes on: the true course of a chunk, and one home's record."""

from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from joulebook.core.history import Floats
from tests.helpers.homes.spec import HomeSpec

Singles = NDArray[np.float32]


@dataclass(frozen=True)
class Course:
    """What truly happened in one chunk, shape (steps, homes) each."""

    voltage_v: Singles
    current_a: Singles
    temperature_c: Singles
    ohm: Singles
    claimed_ratio: Singles
    x: Singles
    full: NDArray[np.bool_]

    @classmethod
    def of(cls, steps: int, homes: int) -> "Course":
        """Return room for so many steps."""
        names = [column.name for column in fields(cls) if column.name != "full"]
        rooms: dict[str, Any] = {name: np.empty((steps, homes), dtype=np.float32) for name in names}
        return cls(**rooms, full=np.empty((steps, homes), dtype=bool))


@dataclass
class Record:
    """One home's days so far.

    Attributes
    ----------
    spell_c, spell_sun : float64 (days + 2,)
        Slow weather; degrees, and of unit spread.
    moved_wh : float64 (2,)
        Energy taken in and given so far, at the terminals.
    """

    spec: HomeSpec
    offset_a: Floats
    state: NDArray[np.uint8]
    rng: np.random.Generator
    spell_c: Floats
    spell_sun: Floats
    columns: dict[str, list[NDArray[np.generic]]] = field(default_factory=dict)
    daily: dict[str, list[Floats]] = field(default_factory=dict)
    fulls: list[Floats] = field(default_factory=list)
    moved_wh: Floats = field(default_factory=lambda: np.zeros(2))
    efc: float = 0.0

    def note(self, **columns: Floats) -> None:
        """Append daily values."""
        for name, values in columns.items():
            self.daily.setdefault(name, []).append(values)

    def write(self, **columns: NDArray[np.generic]) -> None:
        """Append to the log."""
        for name, values in columns.items():
            self.columns.setdefault(name, []).append(values)
