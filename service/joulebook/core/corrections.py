"""What an owner says is wrong with a series' readings, applied whenever numbers are computed.

Readings themselves stay as they came: a correction that is withdrawn leaves no trace in them.
See ``docs/corrections.md``.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

CorrectionKind = Literal["sign", "scale", "offset", "exclude"]
KINDS: tuple[CorrectionKind, ...] = get_args(CorrectionKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """One dated record about one series.

    Attributes
    ----------
    id : int
        By which it is withdrawn.
    device, quantity : str
        Of the series.
    kind : CorrectionKind
        ``sign`` turns readings around, ``scale`` multiplies them, ``offset`` is added to them,
        ``exclude`` makes them missing.
    value : float or None
        The factor, or what is added in the quantity's canonical unit; ``None`` for the others.
    from_ms, to_ms : int or None
        Of the readings it concerns, half-open; ``None`` leaves an end open. [ms, UTC epoch]
    note : str
        Why, in the owner's words.
    made_ms : int
        When it was entered. [ms, UTC epoch]
    withdrawn_ms : int or None
        When it was taken back; from then on it concerns nothing. [ms, UTC epoch]
    """

    id: int
    device: str
    quantity: str
    kind: CorrectionKind
    value: float | None = None
    from_ms: int | None = None
    to_ms: int | None = None
    note: str = ""
    made_ms: int
    withdrawn_ms: int | None = None


def apply(
    corrections: Iterable[Correction],
    device: str,
    quantity: str,
    at_ms: NDArray[np.int64],
    values: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return the readings of one series, corrected.

    Corrections are applied in the order in which they were made, each to what the ones before it
    have left: an offset of 2 made before a scale of 10 turns 1 into 30, made after it into 12.

    Parameters
    ----------
    corrections : iterable of Correction
        Of the site, in any order; those of other series and withdrawn ones are passed over.
    device, quantity : str
        Of the series.
    at_ms, values : int64 and float64 arrays, shape (n,)
        Instants in order [ms, UTC epoch]; readings in the canonical unit, NaN missing. They are
        not changed.

    Returns
    -------
    float64 array, shape (n,)
        ``values`` itself where nothing concerns it.

    Raises
    ------
    ValueError
        If the shapes differ, or a scale or an offset has no value.
    """
    if at_ms.shape != values.shape:
        raise ValueError(f"{at_ms.shape} instants for {values.shape} readings")
    series = (device, quantity)
    mine = [
        each
        for each in corrections
        if (each.device, each.quantity) == series and each.withdrawn_ms is None
    ]
    corrected = values
    for correction in sorted(mine, key=lambda each: (each.made_ms, each.id)):
        place = _concerned(correction, at_ms)
        if place.start < place.stop:
            corrected = corrected.copy() if corrected is values else corrected
            corrected[place] = _changed(correction, corrected[place])
    return corrected


def _concerned(correction: Correction, at_ms: NDArray[np.int64]) -> slice:
    """Return which readings a correction concerns."""
    first, last = 0, at_ms.size
    if correction.from_ms is not None:
        first = int(np.searchsorted(at_ms, correction.from_ms))
    if correction.to_ms is not None:
        last = int(np.searchsorted(at_ms, correction.to_ms))
    return slice(first, last)


def _changed(correction: Correction, values: NDArray[np.float64]) -> NDArray[np.float64]:
    if correction.kind == "sign":
        return -values
    if correction.kind == "exclude":
        return np.full(values.shape, np.nan)
    if correction.value is None:
        raise ValueError(f"correction {correction.id}, a {correction.kind}, has no value")
    return values * correction.value if correction.kind == "scale" else values + correction.value
