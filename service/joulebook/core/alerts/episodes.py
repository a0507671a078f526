"""An episode of an alert: opens once, closes once, and what is missing decides nothing.

Method `alerts-2`, see ``docs/methods/alerts.md``.
"""

from dataclasses import dataclass, replace
from typing import Literal

METHOD = "alerts-2"

Change = Literal["opened", "closed"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """When an episode opens and when it closes; two limits, so that it does not flutter.

    Attributes
    ----------
    opens_at, closes_at : float
        Where the first lies above the second, the value is bad from ``opens_at`` up and good from
        ``closes_at`` down; where it lies below, the other way around.
    after_s, until_s : float
        How long the value must be bad without a break before it opens, and good before it
        closes. [s]

    Raises
    ------
    ValueError
        If both limits are the same: then nothing tells which side is bad.
    """

    opens_at: float
    closes_at: float
    after_s: float = 0.0
    until_s: float = 0.0

    def __post_init__(self) -> None:
        if self.opens_at == self.closes_at:
            raise ValueError("an episode opens at one limit and closes at another")

    def is_bad(self, value: float) -> bool:
        """Tell whether a value is one that opens an episode."""
        return value >= self.opens_at if self._up else value <= self.opens_at

    def is_good(self, value: float) -> bool:
        """Tell whether a value is one that closes it."""
        return value <= self.closes_at if self._up else value >= self.closes_at

    def moved_to(self, opens_at: float) -> "Limits":
        """Return limits that open elsewhere and close as far from there as before."""
        return replace(self, opens_at=opens_at, closes_at=opens_at + self.closes_at - self.opens_at)

    @property
    def _up(self) -> bool:
        return self.opens_at > self.closes_at


@dataclass(frozen=True, slots=True)
class Watch:
    """How a rule stands with one subject.

    Attributes
    ----------
    is_open : bool
        Whether an episode is open.
    since_ms : int or None
        Since when the value has been on the other side: bad where none is open, good where one
        is; ``None`` where it is not. [ms, UTC epoch]
    """

    is_open: bool = False
    since_ms: int | None = None


def step(
    limits: Limits, watch: Watch, value: float | None, at_ms: int
) -> tuple[Watch, Change | None]:
    """Return how a rule stands after one more value, and whether an episode opened or closed.

    Parameters
    ----------
    value : float or None
        What was measured; ``None`` and NaN leave all as it is: they neither open nor close, and
        the time before them still counts.
    at_ms : int
        When; not before the last one. A clock that went back counts as no time. [ms, UTC epoch]
    """
    if value is None or value != value:
        return watch, None
    crossed = limits.is_good(value) if watch.is_open else limits.is_bad(value)
    if not crossed:
        return Watch(watch.is_open), None
    since_ms = at_ms if watch.since_ms is None else min(watch.since_ms, at_ms)
    wait_s = limits.until_s if watch.is_open else limits.after_s
    if at_ms - since_ms < 1000 * wait_s:
        return Watch(watch.is_open, since_ms), None
    return Watch(not watch.is_open), "closed" if watch.is_open else "opened"
