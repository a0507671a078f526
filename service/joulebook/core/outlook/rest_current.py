"""What a current sensor shows around rest, taken for what it is.

Part of method `efc-2`, see ``docs/methods/efc.md``.
"""

import numpy as np

from joulebook.core.history import MS_PER_HOUR, Floats, Instants

#: A smaller current, its offset removed, is the sensor's noise around rest (our choice). [A]
REST_A = 0.15
#: Smaller ones still are averaged with their neighbours of the same hour first: noise that falls
#: now on one side of zero and now on the other is no throughput (our choice). [A]
QUIET_A = 1.0


def without_noise(at_ms: Instants, current_a: Floats, hours: Floats) -> Floats:
    """Return the currents, quiet ones as the mean of their stretch, and nothing around rest.

    A stretch of quiet readings ends with the first that is not, and with the hour; its mean
    keeps what went in less what came out.

    Parameters
    ----------
    at_ms, current_a : int64 and float64 (n,)
        Instants [ms, UTC epoch] and currents, the offset removed; never NaN. [A]
    hours : float64 (n,)
        How long each stands. [h]

    Notes
    -----
    0.5, -0.3, 0.7 A of a minute each are 0.3 A for three minutes: 0.015 Ah in, where each by
    itself would be 0.02 in and 0.005 out.
    """
    settled = current_a.copy()
    quiet = np.flatnonzero(np.abs(settled) < QUIET_A)
    if quiet.size:
        anew = np.ones(quiet.size, dtype=np.bool_)
        anew[1:] = (np.diff(quiet) > 1) | (np.diff(at_ms[quiet] // round(MS_PER_HOUR)) > 0)
        starts = np.flatnonzero(anew)
        weight = hours[quiet]
        means = np.add.reduceat(settled[quiet] * weight, starts)
        means /= np.add.reduceat(weight, starts)
        means[np.abs(means) < REST_A] = 0.0
        settled[quiet] = np.repeat(means, np.diff(np.append(starts, quiet.size)))
    return settled
