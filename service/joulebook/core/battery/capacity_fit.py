"""One fit of a whole record: what the pack holds over time, and the sensor's offset beside it.

See ``docs/methods/capacity.md``.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from joulebook.core.battery.balances import Balances
from joulebook.core.battery.capacity_knots import (
    Unknowns,
    capacity_prior,
    capacity_shares,
    offset_shares,
    place_unknowns,
    prior,
    start_values,
)
from joulebook.core.battery.capacity_rows import ANCHORS, CLOSINGS, ChargeRows, charge_rows
from joulebook.core.history import DAYS_PER_YEAR, MS_PER_DAY, Floats, Instants
from joulebook.core.robust import Robust, Rows, gauss_newton, mad_scale

#: By how much the fit's own standard deviations are too small, found on simulated homes.
CAPACITY_INFLATION = 1.4
OFFSET_INFLATION = 1.6
#: What is lost on the way in may differ from charge to charge by so much of the charge, which
#: hours cannot be told from. [ratio]
LOSS_UNSEEN_U_RATIO = 0.001

_HOW = Robust(bend=1.5, drop=6.0, least_scale=0.5, rounds=12)


@dataclass(frozen=True, slots=True, kw_only=True)
class CapacityFit:
    """What the balances of a record say together.

    Attributes
    ----------
    unknowns : Unknowns
        Which place of ``value`` holds what.
    value, covariance : float64 (n,), (n, n)
        All unknowns, and their covariance as the fit has it: too small, see
        `CAPACITY_INFLATION`.
    rows : ChargeRows
        The equations.
    rest_ah, weight : float64 (m,)
        What is left of each equation [Ah], and its weight from 0 (left out) to 1.
    scale : float64 (2,)
        By how much the stated uncertainties of closings and of low anchors were found too small.
    data_information : float64 (k, k)
        Inverse covariance of the capacity knots from the readings alone, without what was held
        of the capacity before, everything else integrated out. [1/Ah²]
    data_vector : float64 (k,)
        The same times the capacity that the readings alone say. [1/Ah]
    low_ms : int64 (a,)
        Instants of the low anchors that took part, in order. [ms, UTC epoch]
    low_states : float64 (a,)
        What the generic curve says of them. [ratio]
    start_ms, end_ms : int
        Of the record. [ms, UTC epoch]
    """

    unknowns: Unknowns
    value: Floats
    covariance: Floats
    rows: ChargeRows
    rest_ah: Floats
    weight: Floats
    scale: Floats
    data_information: Floats
    data_vector: Floats
    low_ms: Instants
    low_states: Floats
    start_ms: int
    end_ms: int

    @property
    def knots_ms(self) -> Instants:
        """Instants of the capacity knots, shape (k,). [ms, UTC epoch]"""
        return self.unknowns.capacity_ms

    @property
    def knots_years(self) -> Floats:
        """The same, since the first. [years]"""
        years: Floats = (self.knots_ms - self.knots_ms[0]) / (MS_PER_DAY * DAYS_PER_YEAR)
        return years

    @property
    def capacity_ah(self) -> Floats:
        """Capacity at the knots, shape (k,). [Ah]"""
        return self.value[self.unknowns.capacity]

    @property
    def capacity_covariance(self) -> Floats:
        """Covariance of it as it can be stated, the sensor's gain left out. [Ah²]"""
        own = self.unknowns.capacity
        inflated: Floats = CAPACITY_INFLATION**2 * self.covariance[own, own]
        return inflated

    @property
    def closings(self) -> float:
        """How many closings took part, each by its weight."""
        return float(np.sum(self.weight[self.rows.group == CLOSINGS]))

    @property
    def lows(self) -> float:
        """How many low anchors took part, each by its weight."""
        return float(np.sum(self.weight[self.rows.group == ANCHORS]))

    @property
    def offset_unseen_u_a(self) -> float:
        """Standard uncertainty of any offset that no closing can take away. [A]"""
        closing = self.rows.anchor < 0
        hours = float(np.sum(self.rows.hours[closing]))
        if not hours:
            return 0.0
        return LOSS_UNSEEN_U_RATIO * float(np.sum(self.rows.charged_ah[closing])) / hours

    @property
    def misfit_ratio(self) -> float:
        """By how much the low anchors typically disagree with the fit, of the rated charge."""
        rest_ah = self.rest_ah[self.rows.anchor >= 0]
        return mad_scale(rest_ah) / self.unknowns.rated_ah if rest_ah.size else 0.0

    def shares(self, at_ms: Instants) -> Floats:
        """Return each capacity knot's share (m, k) in the capacity at instants (m,)."""
        return capacity_shares(self.unknowns, at_ms)

    def capacity_at(self, at_ms: Instants) -> tuple[Floats, Floats]:
        """Return capacity and its standard uncertainty, gain left out, at instants (m,). [Ah]"""
        shares = self.shares(at_ms)
        variance = np.einsum("ij,jk,ik->i", shares, self.capacity_covariance, shares)
        return shares @ self.capacity_ah, np.sqrt(variance)

    def offset_at(self, at_ms: Instants) -> Floats:
        """Return what the sensor reads when nothing flows, at instants (m,). [A]"""
        offset: Floats = offset_shares(self.unknowns, at_ms) @ self.value[self.unknowns.offset]
        return offset

    def mean_offset(self, at_ms: Instants, weights: Floats) -> tuple[float, float]:
        """Return the weighted mean of the offset and its standard uncertainty. [A]

        Parameters
        ----------
        at_ms : int64 (m,)
            Instants, such as the middles of windows. [ms, UTC epoch]
        weights : float64 (m,)
            Such as the windows' hours; their sum is not zero.
        """
        own = self.unknowns.offset
        share = weights @ offset_shares(self.unknowns, at_ms) / np.sum(weights)
        variance = share @ self.covariance[own, own] @ share
        mean_u = math.hypot(OFFSET_INFLATION * math.sqrt(variance), self.offset_unseen_u_a)
        return float(share @ self.value[own]), mean_u


def fit_capacity(
    balances: Balances,
    *,
    offset_steps_ms: Sequence[int] = (),
    new_battery_ms: Sequence[int] = (),
) -> CapacityFit:
    """Fit capacity, offset and what disturbs them to all balances of a record at once.

    Parameters
    ----------
    balances : Balances
        Of the record; there may be none: then all is as it was held before.
    offset_steps_ms : sequence of int
        Where the sensor's offset may have stepped: wiring, firmware, another sensor.
    new_battery_ms : sequence of int
        Where the battery was changed: low anchors from before the last of them say nothing of
        the present one. The offset is free to step there too.
    """
    changed = [at for at in new_battery_ms if balances.start_ms < at < balances.end_ms]
    unknowns = place_unknowns(
        balances.start_ms,
        balances.end_ms,
        capacity_from_ms=max(changed, default=balances.start_ms),
        steps_ms=[*offset_steps_ms, *changed],
        rated_ah=balances.rated_ah,
    )
    rows = charge_rows(balances, unknowns)
    held = prior(unknowns)
    fit = gauss_newton(
        lambda value: rows.equations(unknowns, value),
        start_values(unknowns),
        sigma=rows.sigma_ah,
        group=rows.group,
        prior=held,
        how=_HOW,
    )
    rest, _ = rows.equations(unknowns, fit.value)
    information, vector = _of_readings(fit.data, held, unknowns)
    used = rows.anchor[(rows.anchor >= 0) & (fit.weight > 0)]
    return CapacityFit(
        unknowns=unknowns,
        value=fit.value,
        covariance=fit.covariance,
        rows=rows,
        rest_ah=rest,
        weight=fit.weight,
        scale=fit.scale,
        data_information=information,
        data_vector=vector,
        low_ms=balances.full_to_low.low_ms[used],
        low_states=balances.full_to_low.x_low[used],
        start_ms=balances.start_ms,
        end_ms=balances.end_ms,
    )


def _of_readings(data: Rows, held: Rows, unknowns: Unknowns) -> tuple[Floats, Floats]:
    """Integrate all but the capacity out, and take off what was held of the capacity before."""
    terms = np.concatenate([data.terms, held.terms])
    target = np.concatenate([data.target, held.target])
    information, vector = terms.T @ terms, terms.T @ target
    own = unknowns.capacity
    rest = slice(own.stop, unknowns.size)
    gain = np.linalg.solve(information[rest, rest], information[rest, own]).T
    before = capacity_prior(unknowns)
    before_terms = before.terms[:, own]
    seen = information[own, own] - gain @ information[rest, own] - before_terms.T @ before_terms
    said = vector[own] - gain @ vector[rest] - before_terms.T @ before.target
    # Rounding alone can make a direction of which nothing is known slightly negative.
    strength, direction = np.linalg.eigh((seen + seen.T) / 2)
    known = direction[:, strength > 1e-9 * max(float(strength[-1]), 1e-12)]
    kept = known @ known.T
    return kept @ seen @ kept, kept @ said
