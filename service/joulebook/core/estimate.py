"""One number with all that it must carry: interval, coverage, method, or why it is not given."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Estimate:
    """A number that can be shown, or the reason why there is none.

    Attributes
    ----------
    value, low, high : float or None
        The number and its 90 % interval, in the unit that the holder's field name carries;
        ``None`` where it is refused.
    coverage_ratio : float
        The measured share of the span, 0 to 1.
    method : str
        Name and version of the way it was computed, such as ``trapezoid-1``; each has a page
        under ``docs/methods/``.
    reason : str or None
        A sentence for a person, where ``value`` is ``None``.
    """

    value: float | None
    low: float | None = None
    high: float | None = None
    coverage_ratio: float
    method: str
    reason: str | None = None

    def __post_init__(self) -> None:
        if (self.value is None) == (self.reason is None):
            raise ValueError("an estimate has a value or a reason, and not both")


def refused(reason: str, *, method: str, coverage_ratio: float = 0.0) -> Estimate:
    """Return the estimate that is not given, with the sentence that says why."""
    return Estimate(value=None, coverage_ratio=coverage_ratio, method=method, reason=reason)
