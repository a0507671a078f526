"""Powers that cannot be below zero, and are: a clamp that is mounted or set the wrong way round.

Such readings are stored as they came, so that a correction finds them. Until there is one, they
count as missing, for nothing of them is energy. See ``docs/decisions/0011-reversed-clamps.md``.
"""

import numpy as np
from numpy.typing import NDArray

#: How far below zero a clamp at rest may read, by its offset. Engineering choice, no source. [W]
SLACK_W = 25.0


def impossible(power_w: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Return which readings of panels or a load are too far below zero to be noise.

    Parameters
    ----------
    power_w : float array, shape (n,)
        NaN missing. [W]
    """
    below: NDArray[np.bool_] = power_w < -SLACK_W
    return below


def is_turned_around(power_w: NDArray[np.float64]) -> bool:
    """Return whether more is read below zero than above it: then even its rest is not believed.

    Panels at whose inverter a few dozen watts flow back at night are not; a clamp the wrong way
    round is, from the first minute of sun or load on.

    Parameters
    ----------
    power_w : float array, shape (n,)
        NaN missing. [W]
    """
    below = impossible(power_w)
    if not below.any():
        return False
    return bool(-power_w[below].sum() > power_w[power_w > 0].sum())
