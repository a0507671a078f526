"""Signs and scales that the balance of powers tells: what makes it close is right.

``pv + grid = load + battery + loss``: with the right signs and scales what is left is the loss,
some percent; with a clamp turned around or a power in kilowatts it is about as large as the
powers themselves.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from joulebook.core.checks.finding import PANEL_CAUTION, Finding, unclear
from joulebook.core.checks.inputs import CheckInputs
from joulebook.core.daily.balance import common_flows
from joulebook.core.history import Floats

#: A change of sign or scale is believed where it leaves less than so much of the rest.
DECISIVE_RATIO = 0.5
#: A power tells where it is at least this on average, up or down. [W]
LEAST_MEAN_W = 50.0
#: In days no house's largest power stays below this. [W] (our choice)
LEAST_LARGEST_W = 60.0
#: A balance is one where no more than this of the largest power is left over.
CLOSED_RATIO = 0.35

_SIGNS = {"pv": 1.0, "grid": 1.0, "load": -1.0, "battery": -1.0}
_POSITIVE_MEANS = {"battery": "charging", "grid": "importing"}


@dataclass(frozen=True)  # without slots, so that it can keep what was asked
class Powers:
    """The powers of a site on one grid of instants, shape (n,) each, and how long each stands.

    Signs and scales of each kind ask for the same few means, each over all instants of a week: an
    answer is kept, and asked for again costs nothing.
    """

    value_w: Mapping[str, Floats]
    seconds: Floats
    coverage_ratio: float
    _rests_w: dict[frozenset[tuple[str, float]], float] = field(default_factory=dict, init=False)

    def mean_w(self, kind: str) -> float:
        """Return the mean size of a power. [W]"""
        return self._means_w[kind]

    def rest_w(self, **factors: float) -> float:
        """Return the mean size of what the balance leaves, powers multiplied by factors. [W]"""
        key = frozenset((kind, factor) for kind, factor in factors.items() if factor != 1.0)
        if key not in self._rests_w:
            self._rests_w[key] = self._mean(np.abs(self._left_w(factors)))
        return self._rests_w[key]

    def largest_w(self, **factors: float) -> float:
        """Return the mean size of the largest power, likewise. [W]"""
        return max(factors.get(kind, 1.0) * self.mean_w(kind) for kind in self.value_w)

    @cached_property
    def most_w(self) -> float:
        """The largest power of all, but for the largest thousandth of each. [W]"""
        return max(float(np.percentile(np.abs(each), 99.9)) for each in self.value_w.values())

    @cached_property
    def _means_w(self) -> dict[str, float]:
        return {kind: self._mean(np.abs(each)) for kind, each in self.value_w.items()}

    @cached_property
    def _whole_s(self) -> float:
        return float(np.sum(self.seconds))

    def _left_w(self, factors: Mapping[str, float]) -> Floats:
        left_w = np.zeros(self.seconds.size)
        for kind, each in self.value_w.items():
            left_w += _SIGNS[kind] * factors.get(kind, 1.0) * each
        return left_w

    def _mean(self, value: Floats) -> float:
        return float(np.sum(value * self.seconds)) / self._whole_s


def powers_of(inputs: CheckInputs) -> Powers | str:
    """Return the powers where all are known, or a sentence that says why there are none."""
    sources = inputs.sources
    lines = {kind: sources.power(kind).line for kind in _SIGNS}
    lacking = [kind for kind in ("battery", "load") if lines[kind] is None]
    if lacking:
        return f"the site has no {lacking[0]} device, so that nothing balances"
    flows = common_flows(lines, inputs.span)
    joined = flows.load_w.joined
    seconds = np.diff(flows.load_w.at_ms)[joined] / 1000
    if not seconds.size:
        return "the powers of the site were never measured together"
    parts = {
        "pv": flows.pv_w, "grid": flows.grid_w, "load": flows.load_w, "battery": flows.battery_w
    }  # fmt: skip
    present = {
        kind: (part.value[:-1] + part.value[1:])[joined] / 2
        for kind, part in parts.items()
        if lines[kind] is not None
    }
    return Powers(present, seconds, float(np.sum(seconds)) / inputs.span.length_s)


def signs(inputs: CheckInputs, powers: Powers | str) -> list[Finding]:
    """Return whether battery and grid count up in the direction of the house."""
    kinds = [kind for kind in ("battery", "grid") if inputs.of_kind(kind)]
    if isinstance(powers, str):
        return [unclear("sign", powers, device=kind) for kind in kinds]
    turned = [
        {},
        *({kind: -1.0} for kind in kinds),
        *([{"battery": -1.0, "grid": -1.0}] if len(kinds) == 2 else []),
    ]
    best = min(turned, key=lambda factors: powers.rest_w(**factors))
    return [_sign(kind, powers, best) for kind in kinds]


def _sign(kind: str, powers: Powers, best: Mapping[str, float]) -> Finding:
    as_it_is, at_best = powers.rest_w(), powers.rest_w(**best)
    other = dict(best)
    other[kind] = -other.get(kind, 1.0)
    turned = powers.rest_w(**other)
    evidence = {
        "mean_w": powers.mean_w(kind),
        "left_over_w": as_it_is,
        "left_over_turned_w": powers.rest_w(**{kind: -1.0}),
    }
    closes = at_best <= CLOSED_RATIO * powers.largest_w()
    if powers.mean_w(kind) < LEAST_MEAN_W or at_best > DECISIVE_RATIO * turned or not closes:
        return Finding(
            name="sign",
            device=kind,
            verdict="unclear",
            sentence=f"the balance does not tell the sign of {kind} power yet",
            evidence=evidence,
            look_at="charging on a sunny day with a steady load, which shows it best",
            coverage_ratio=powers.coverage_ratio,
        )
    if kind in best:
        return Finding(
            name="sign",
            device=kind,
            verdict="trouble",
            sentence=(
                f"{kind} power has the wrong sign: the balance leaves {as_it_is:.0f} W, and "
                f"{at_best:.0f} W with the sign turned. It must be positive while "
                f"{_POSITIVE_MEANS[kind]}"
            ),
            evidence=evidence,
            look_at=f"the sign of {kind} in the bridge, or a correction with the date; last, which "
            "way round the clamp sits",
            caution=PANEL_CAUTION,
            coverage_ratio=powers.coverage_ratio,
        )
    return Finding(
        name="sign",
        device=kind,
        verdict="good",
        sentence=f"{kind} power is positive while {_POSITIVE_MEANS[kind]}, as the balance tells",
        evidence=evidence,
        coverage_ratio=powers.coverage_ratio,
    )


def scales(inputs: CheckInputs, powers: Powers | str) -> list[Finding]:
    """Return whether a power is given in kilowatts, or in thousandths of a watt."""
    kinds = [kind for kind in _SIGNS if inputs.of_kind(kind)]
    if isinstance(powers, str):
        return [unclear("scale", powers, device=kind) for kind in kinds]
    return [_scale(kind, powers) for kind in kinds if kind in powers.value_w]


def _scale(kind: str, powers: Powers) -> Finding:
    as_it_is = powers.rest_w()
    tried = {factor: powers.rest_w(**{kind: factor}) for factor in (1000.0, 0.001)}
    factor = min(tried, key=lambda each: tried[each])
    evidence = {
        "mean_w": powers.mean_w(kind),
        "left_over_w": as_it_is,
        "left_over_times_1000_w": tried[1000.0],
        "left_over_by_1000_w": tried[0.001],
    }
    largest = powers.largest_w(**{kind: factor})
    closes = tried[factor] <= CLOSED_RATIO * largest
    if tried[factor] < DECISIVE_RATIO * as_it_is and closes:
        what = "kilowatts" if factor > 1 else "thousandths of a watt"
        return Finding(
            name="scale",
            device=kind,
            verdict="trouble",
            sentence=(
                f"{kind} power looks like {what}: times {factor:g} the balance leaves "
                f"{tried[factor]:.0f} W instead of {as_it_is:.0f} W"
            ),
            evidence=evidence,
            look_at=f"the unit and the scale of {kind} power in the bridge",
            coverage_ratio=powers.coverage_ratio,
        )
    if powers.most_w < LEAST_LARGEST_W:
        return Finding(
            name="scale",
            device=kind,
            verdict="trouble",
            sentence=f"no power is above {powers.most_w:.3g} W: all of them look like kilowatts",
            evidence={**evidence, "most_w": powers.most_w},
            look_at="the unit and the scale of all powers in the bridge",
            coverage_ratio=powers.coverage_ratio,
        )
    if as_it_is > CLOSED_RATIO * powers.largest_w() or powers.mean_w(kind) < LEAST_MEAN_W:
        return unclear(
            "scale",
            f"the balance does not tell the scale of {kind} power yet",
            device=kind,
            coverage_ratio=powers.coverage_ratio,
        )
    return Finding(
        name="scale",
        device=kind,
        verdict="good",
        sentence=f"{kind} power fits the balance, which leaves {as_it_is:.0f} W of it",
        evidence=evidence,
        coverage_ratio=powers.coverage_ratio,
    )


def balanced(inputs: CheckInputs) -> Sequence[Finding]:
    """Return what the balance tells of signs and scales."""
    powers = powers_of(inputs)
    return [*signs(inputs, powers), *scales(inputs, powers)]
