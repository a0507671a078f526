"""When the newest nights are believed and not the fit; the example is reckoned by hand."""

from dataclasses import dataclass
from typing import Any, cast

import numpy as np
import pytest

from joulebook.core.battery.capacity_fit import CapacityFit
from joulebook.core.battery.fast_loss import FastLoss, fast_loss
from joulebook.core.battery.nights import Night, NightList

DAY_MS = 86_400_000


@dataclass
class Fit:
    """A fit that says the same of every day."""

    ah: float = 200.0
    misfit_ratio: float = 0.002

    def capacity_at(self, at_ms: Any) -> tuple[Any, Any]:
        return np.full(len(at_ms), self.ah), np.ones(len(at_ms))


def nights(*implied_ah: float | None, every_days: int = 5) -> NightList:
    return NightList(
        nights=tuple(
            Night(
                full_ms=place * every_days * DAY_MS,
                low_ms=place * every_days * DAY_MS + DAY_MS // 2,
                drawn_ah=100.0,
                implied_ah=ah,
            )
            for place, ah in enumerate(implied_ah)
        ),
        quarters=(),
    )


def found(fit: Fit, listed: NightList, since_ms: int | None = None) -> FastLoss | None:
    return fast_loss(cast(CapacityFit, fit), listed, since_ms=since_ms)


#: A year of nights every five days; in the last thirty days seven.
CALM = (202.0,) * 66


def test_the_worked_example() -> None:
    told = found(Fit(), nights(*CALM, *(181.8,) * 7))
    assert told is not None
    # Nights lie 1 % above the fit in calm times; the newest are at 90 % of that.
    assert told.below_ratio == pytest.approx(0.10)
    assert told.ah == pytest.approx(180.0)
    assert told.health_ratio == pytest.approx(0.9)
    # No scatter: what all share, and the gain.
    assert told.u_ratio == pytest.approx((0.02**2 + 0.0058**2) ** 0.5)
    assert told.nights == 7
    assert told.fallen_ratio == pytest.approx(0.1)
    assert told.sentence.startswith("The newest 7 nights imply 10% less than those before the last")
    assert told.reason.startswith("the newest 7")
    assert not told.reason.endswith(".")


@pytest.mark.parametrize(
    ("fit", "listed"),
    [
        (Fit(), nights()),
        (Fit(), nights(None)),
        (Fit(), nights(*CALM, *(195.0,) * 7)),  # 3.5 % less: as season or curve may be
        (Fit(), nights(*CALM, *(181.8,) * 7, every_days=10)),  # four in the newest thirty days
        (Fit(), nights(*(202.0,) * 30, *(181.8,) * 7)),  # half a year of calm is not there
        (Fit(), nights(*CALM, *(150.0, 210.0) * 3, 150.0)),  # they differ as chance does
        (Fit(misfit_ratio=0.03), nights(*CALM, *(185.0,) * 7)),  # 8 %, and the fit is no guide
    ],
)
def test_it_is_not_told_without_need(fit: Fit, listed: NightList) -> None:
    assert found(fit, listed) is None


def test_where_the_fit_is_no_guide_calm_nights_are() -> None:
    told = found(Fit(ah=150.0, misfit_ratio=0.03), nights(*CALM, *(161.6,) * 7))
    assert told is not None
    assert told.below_ratio == pytest.approx(0.2)
    assert told.ah == pytest.approx(161.6)  # no part of a fit that is bent


def test_nights_of_the_battery_before_do_not_count() -> None:
    listed = nights(*CALM, *(181.8,) * 7)
    assert found(Fit(), listed, since_ms=66 * 5 * DAY_MS) is None
    assert found(Fit(), listed, since_ms=0) is not None
