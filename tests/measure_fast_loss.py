"""How well a fast loss is told: ``python -m tests.measure_fast_loss [--homes 24] [--seed 9]``.

Simulated homes that age as homes do are looked at six times in three years, as far as their record
goes: told so, they are told falsely. One of them again with a battery that wears ever faster, every
sixty days: what is told of it, beside the truth and the fit alone.
"""

import argparse
import sys
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from joulebook.core.battery.fast_loss import METHOD
from joulebook.core.records.record import analyse
from tests.alert_logs import DAY_MS, logged
from tests.alert_wear import worn
from tests.helpers.homes import Home, HomeSpec, draw_homes, simulate
from tests.helpers.homes.home import START_MS

#: Days on which homes that age as usual are looked at, and from which on a worn one is.
LOOKS, WORN_LOOKS = (400, 550, 700, 850, 1000, 1090), range(600, 900, 60)
ONSET_DAY = 200


def told(home: Home, days: Sequence[int]) -> Iterator[tuple[str, bool]]:
    """Yield for each day of a home's record what is told of it, and whether by newest nights."""
    log = logged(home)
    # Some homes have shorter records.
    for day in (each for each in days if each <= log.days):
        now_ms = START_MS + day * DAY_MS
        record = analyse(log.inputs.until(now_ms))
        latest, rated = record.capacity.latest.ah, log.history.rated_ah
        [fitted], _ = record.fit.capacity_at(np.array([now_ms]))
        words = "not told"
        if latest.value is not None and latest.low is not None and latest.high is not None:
            ends = f"{latest.low / rated:.1%} to {latest.high / rated:.1%}"
            words = f"{latest.value / rated:.1%} [{ends}]"
        true = home.truth.daily.capacity_ah[day - 1] / rated
        words = f"{home.spec.name}, day {day}: {words}, true {true:.1%}, fit {fitted / rated:.1%}"
        yield words, latest.method == METHOD


def lines(specs: Sequence[HomeSpec]) -> Iterator[str]:
    """Yield what is printed."""
    looked = falsely = 0
    for home in simulate(specs):
        for words, fast in told(home, LOOKS):
            looked += 1
            falsely += fast
            if fast:
                yield f"falsely: {words}"
    yield f"{len(specs)} homes that age as usual, {looked} looks, told falsely: {falsely}"
    [tired] = simulate([worn(specs[-1], ONSET_DAY)])
    for words, fast in told(tired, WORN_LOOKS):
        yield f"{'by newest nights' if fast else 'by the fit'}: {words}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Print it."""
    parser = argparse.ArgumentParser(prog="python -m tests.measure_fast_loss", description=__doc__)
    parser.add_argument("--homes", type=int, default=24)
    parser.add_argument("--seed", type=int, default=9)
    asked = parser.parse_args(arguments)
    drawn = draw_homes(asked.homes, seed=asked.seed, years=3.0)
    for line in lines([replace(spec, step_s=300, inner_s=300) for spec in drawn]):
        sys.stdout.write(line + "\n")
        sys.stdout.flush()
    return 0


if __name__ == "__main__":
    sys.exit(main())
