"""What a run over fleets found, as one document: costs, how they grow, and what was measured on."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from joulebook.bench.fleet_costs import Costs
from joulebook.bench.fleet_growth import METHOD, Growth, growth
from joulebook.bench.fleet_home import FullHome
from joulebook.bench.quiet import Quietness

#: No cost may grow faster than homes to this power.
MOST_EXPONENT = 1.05


@dataclass(frozen=True, slots=True)
class Cost:
    """Something that homes cost."""

    key: str
    title: str
    unit: Literal["s", "ms", "B"]


COSTS = (
    Cost("arrive", "first message of every device: devices and series made", "s"),
    Cost("ingest", "ingest of messages (SenML) to committed storage", "s"),
    Cost("recompute", "recompute: days, record and documents of pages", "s"),
    Cost("order", "how every home does, compared with its peers", "s"),
    Cost("seal", "seal, hot rows to blocks", "s"),
    Cost("vacuum", "vacuum of what sealed rows left", "s"),
    Cost("list", "all homes read from the catalogue", "s"),
    Cost("watch", "a look at every home's newest readings, for alerts", "s"),
    Cost("week", "a home's week page, median", "ms"),
    Cost("homes", "the page of all homes, median", "ms"),
    Cost("hot", "readings as they came", "B"),
    Cost("sealed", "sealed and computed", "B"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FleetReport:
    """A whole run."""

    conditions: dict[str, Any]
    quietness: Quietness
    rounds: list[Costs]
    home: FullHome


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One cost over all rounds.

    Attributes
    ----------
    totals : dict of float
        Median of the rounds, by the number of homes.
    whole, last : Growth
        Over all numbers of homes, and between the two greatest: there, what does not depend on
        homes hides less.
    """

    cost: Cost
    totals: dict[int, float]
    whole: Growth
    last: Growth

    @property
    def of_a_home(self) -> float:
        """A home's share where there are most homes; of a page, its time."""
        homes = max(self.totals)
        return self.totals[homes] / (1 if self.cost.unit == "ms" else homes)

    @property
    def holds(self) -> bool:
        """Whether it grows no faster than it may."""
        return self.whole.exponent <= MOST_EXPONENT


def lines_of(rounds: Sequence[Costs]) -> list[Line]:
    """Return every cost that was measured, and how it grows."""
    found = []
    sizes = sorted({each.homes for each in rounds})
    for cost in COSTS:
        pairs = [(each.homes, each.of.get(cost.key, 0.0)) for each in rounds]
        if min(value for _, value in pairs) <= 0:
            continue  # a file has no vacuum; so few rows may fit into pages that were there
        greatest = [pair for pair in pairs if pair[0] in sizes[-2:]]
        found.append(
            Line(
                cost=cost,
                totals={
                    size: float(np.median([value for homes, value in pairs if homes == size]))
                    for size in sizes
                },
                whole=growth(*zip(*pairs, strict=True)),
                last=growth(*zip(*greatest, strict=True)),
            )
        )
    return found


def fleet_document(report: FleetReport) -> dict[str, Any]:
    """Return the report as JSON can hold it; the page of machines is made of it alone."""
    return {
        "conditions": report.conditions,
        "machine": {**asdict(report.quietness), "quiet": report.quietness.quiet},
        "costs": [
            {
                **asdict(line.cost),
                "totals": {str(homes): total for homes, total in line.totals.items()},
                "of_a_home": line.of_a_home,
                "exponent": asdict(line.whole),
                "exponent_of_the_last_step": asdict(line.last),
                "method": METHOD,
                "at_most": MOST_EXPONENT,
                "holds": line.holds,
            }
            for line in lines_of(report.rounds)
        ],
        "home": asdict(report.home),
        "rounds": [asdict(each) for each in report.rounds],
    }
