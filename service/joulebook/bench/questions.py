"""What everybody is asked, the form of the answers, and whether two answers are the same."""

from collections.abc import Mapping
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from joulebook.bench.site import Piece
from joulebook.core.spans import Span
from joulebook.errors import JoulebookError

#: Named columns of equal length.
Answer = dict[str, NDArray[Any]]
#: Which quantities of which devices.
Wanted = Mapping[str, tuple[str, ...]]

#: Six series of one device, so that a table a device answers in one query.
SIX = ("voltage", "current", "power", "soc", "cell_voltage_min", "cell_voltage_max")
ONE_DEVICE: Wanted = {"battery": SIX}
#: Six series of all devices, as a page shows them.
ALL_DEVICES: Wanted = {
    "battery": ("voltage", "power", "soc"),
    "grid": ("power",),
    "load": ("power",),
    "pv": ("power",),
}
QUARTER_MS = 900_000
#: No energy is counted over a longer silence; five times the usual step. [ms]
MAX_GAP_MS = 50_000

#: Sums are added in another order everywhere, so their last digits differ.
_TOLERANCE_RATIO = 1e-9


class Taker(Protocol):
    """Takes readings in."""

    name: str

    def write(self, piece: Piece) -> None:
        """Keep some days of readings, later than all before."""


class Writer(Taker, Protocol):
    """A way to keep readings."""

    def finish(self) -> None:
        """Bring everything to its final form on disk."""

    def size_bytes(self) -> int:
        """Return what it takes on disk."""


class Reader(Protocol):
    """A way to read them back. Instants are in ms; days and quarters count since 1970."""

    name: str

    def day(self, span: Span, wanted: Wanted) -> Answer:
        """Return ``device.at_ms`` and ``device.quantity`` of a day."""

    def quarters(self, span: Span) -> Answer:
        """Return ``quarter`` and ``quantity.low``, ``.mean``, ``.high``, ``.count`` of `SIX`."""

    def energy(self, span: Span) -> Answer:
        """Return ``day``, ``charge_wh`` and ``discharge_wh`` of the battery.

        Straight lines between readings, cut where the sign changes; a line longer than
        `MAX_GAP_MS` counts as nothing, and each belongs to the day in which it begins.
        """

    def last(self) -> Answer:
        """Return ``at_ms`` and ``value`` of the newest reading of each series of the site."""


class WrongAnswerError(JoulebookError):
    """Somebody answered something else: how fast that was is of no interest."""

    def __init__(self, what: str, *, where: object, expected: str) -> None:
        super().__init__(
            what,
            where=where,
            expected=expected,
            next_step="report this; no time of this run is worth anything",
        )


def require_same(
    question: str,
    name: str,
    answer: Answer,
    truth: Answer,
    within: Mapping[str, float] | None = None,
) -> None:
    """Raise unless an answer is the true one, to nine digits.

    Parameters
    ----------
    within : mapping of column to float, optional
        How far off a column may be that is kept in steps, in its own unit.

    Raises
    ------
    WrongAnswerError
        Naming the column and the first place that differs.
    """
    if answer.keys() != truth.keys():
        raise _wrong(question, name, f"columns {sorted(answer)}, not {sorted(truth)}")
    off = within or {}
    for column, expected in truth.items():
        given = np.asarray(answer[column])
        if given.shape != expected.shape:
            raise _wrong(question, name, f"{given.size} of {column}, not {expected.size}")
        same = np.isclose(given, expected, rtol=_TOLERANCE_RATIO, atol=off.get(column, 1e-9))
        if not same.all():
            place = int(np.flatnonzero(~same)[0])
            raise _wrong(
                question, name, f"{column}[{place}] is {given[place]}, not {expected[place]}"
            )


def _wrong(question: str, name: str, what: str) -> WrongAnswerError:
    return WrongAnswerError(
        f"{name} gave a wrong answer: {what}",
        where=question,
        expected="the answer that plain numpy gives from the generated readings",
    )
