"""How often forecasts are right: ``python -m tests.measure_forecast [--batteries N] [--seed S]``.

Batteries that fade by laws of which most are not among those that the forecast tries, measured
for a while and asked for their tenth year. Prints, by length of the record, how often the 90 %
interval holds the truth, on which side it misses, and how wide it is.
"""

import argparse
import sys
from collections.abc import Mapping, Sequence

import numpy as np

from joulebook.core.outlook.forecast import WarrantyTerms, forecast
from tests.helpers.fading import draw_fading, evidence_of, usage_of

MONTHS = (6, 12, 18, 24, 36)


Outcome = tuple[float, float, float, float]


def outcomes(batteries: int, seed: int, months: Sequence[int]) -> dict[int, list[Outcome]]:
    """Return truth, low, middle and high of the tenth year, by months of record."""
    rng = np.random.default_rng(seed)
    found: dict[int, list[Outcome]] = {month: [] for month in months}
    for _ in range(batteries):
        fading = draw_fading(rng)
        truth = float(fading.soh(np.array([10.0]))[0])
        for month in months:
            usage = usage_of(fading, month / 12)
            terms = WarrantyTerms(end_ms=usage.at_ms(10.0), floor_ratio=0.7)
            end = forecast(usage, terms, evidence_of(fading, month / 12, rng)).fan[-1]
            found[month].append((truth, end.p5_ratio, end.p50_ratio, end.p95_ratio))
    return found


def table(found: Mapping[int, Sequence[Outcome]]) -> list[str]:
    """Return its lines."""
    lines = [
        "| months | inside | truth below | truth above | median width | 90 % of widths | bias |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for month, rows in found.items():
        truth, low, middle, high = np.array(rows).T
        width = 100 * (high - low)
        lines.append(
            f"| {month} | {np.mean((truth >= low) & (truth <= high)):.1%} "
            f"| {np.mean(truth < low):.1%} | {np.mean(truth > high):.1%} "
            f"| {np.median(width):.1f} | {np.percentile(width, 90):.1f} "
            f"| {100 * np.mean(middle - truth):+.1f} |"
        )
    return lines


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the table."""
    parser = argparse.ArgumentParser(description="Measure how often forecasts are right.")
    parser.add_argument("--batteries", type=int, default=400)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args(arguments)
    sys.stdout.write(f"{asked.batteries} batteries, seed {asked.seed}; percent of rated charge\n")
    found = outcomes(asked.batteries, asked.seed, MONTHS)
    sys.stdout.writelines(f"{line}\n" for line in table(found))
    return 0


if __name__ == "__main__":
    sys.exit(main())
