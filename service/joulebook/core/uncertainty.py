"""What a number's error is made of: its own part, and the part it has in common with others."""

import math
from dataclasses import dataclass

from joulebook.core.daily.energy import K90


@dataclass(frozen=True, slots=True)
class Uncertainty:
    """Standard uncertainty of one number, in its unit.

    Attributes
    ----------
    own : float
        Of this number alone: another window has another error.
    shared : float
        In common with the same number of another window, as an error of a meter's scale is:
        it moves both the same way.
    """

    own: float
    shared: float

    @property
    def total(self) -> float:
        """Both parts together."""
        return math.hypot(self.own, self.shared)

    @property
    def half_width(self) -> float:
        """Half of the 90 % interval."""
        return K90 * self.total
