"""How soon alerts are told, and how often falsely, on simulated homes whose truth is known.

    python -m tests.alert_table --homes 10 --seed 3 --write docs/alerts.md

Each rule is run over what the homes logged, as it is and with a fault planted on a known day.
"""

import argparse
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

from joulebook.core.alerts.episodes import Watch, step
from joulebook.core.alerts.rules import BY_NAME
from tests import alert_faults as faults
from tests import alert_wiring as wiring
from tests.alert_logs import DAY_MS, FLOOR_RATIO, Logged, Values, logged
from tests.alert_page import Row, page
from tests.alert_wear import Looks, below_floor_day, looked, worn
from tests.helpers.homes import draw_homes, simulate
from tests.helpers.homes.home import START_MS

#: Faults begin on this day; the homes have lived half a year by then.
ONSET_DAY = 200

#: What a rule sees of a log, and how a fault of its kind is planted.
See = Callable[[Logged], Values]
Plant = Callable[[Logged, int], Logged]
PLANTED: Sequence[tuple[str, See, Plant | None, str]] = (
    ("bridge-silent", faults.silent_minutes, faults.with_silence, "silent for good"),
    ("gap", faults.missing_percent, None, ""),
    ("hot-battery", faults.warmth, faults.with_heat, "25 °C hotter"),
    ("cold-charging", faults.cold_while_charging, faults.with_frost, "30 °C colder"),
    (
        "cell-spread",
        wiring.cell_spreads,
        wiring.with_leaking_cell,
        "a cell loses 0.3 % of the charge a day",
    ),
    ("lugs", wiring.lug_rises, wiring.with_loose_lug, "6 mΩ more"),
    ("legs", wiring.legs_in_trouble, wiring.with_dead_leg, "a clamp fell off"),
    ("neutral", wiring.neutral_in_trouble, wiring.with_loose_neutral, "0.5 Ω more"),
    ("idle-jump", faults.idle_jumps, faults.with_more_idle, "25 W more"),
    ("round-trip-drop", faults.round_trip_drops, faults.with_resistance, "30 mΩ more inside"),
    ("never-full", faults.days_without_full, faults.without_full, "not full any more"),
)
WORN = "wears ever faster"


def openings(rule: str, values: Iterable[tuple[int, float | None]]) -> list[int]:
    """Return when a rule's episodes opened. [ms, UTC epoch]"""
    limits, watch, found = BY_NAME[rule].limits, Watch(), []
    for at_ms, value in values:
        watch, change = step(limits, watch, value, at_ms)
        if change == "opened":
            found.append(at_ms)
    return found


def rows_of(logs: Sequence[Logged], onset_day: int) -> list[Row]:
    """Return a row for each rule whose fault is planted into what homes logged."""
    onset_ms, rows = START_MS + onset_day * DAY_MS, []
    for rule, see, plant, fault in PLANTED:
        plain = [openings(rule, see(log)) for log in logs]
        told = [
            [] if plant is None else _new(openings(rule, see(plant(log, onset_day))), old, onset_ms)
            for log, old in zip(logs, plain, strict=True)
        ]
        rows.append(
            Row(
                rule=rule,
                fault=fault,
                opened=sum(map(len, plain)),
                years=sum(log.days for log in logs) / 365.25,
                delays_h=[] if plant is None else [_first_h(each, onset_ms) for each in told],
                again=sum(max(len(each) - 1, 0) for each in told),
            )
        )
    return rows


def rows_of_wear(
    plain: Sequence[Looks],
    worn_out: Sequence[Looks],
    crossed_days: Sequence[int | None],
    onset_day: int,
    logs: Sequence[Logged],
) -> list[Row]:
    """Return the three rows of rules about capacity.

    Parameters
    ----------
    plain, worn_out : sequence of Looks
        At homes as they are, and at those that wear ever faster from ``onset_day`` on.
    crossed_days : sequence of int or None
        When the true capacity of the latter fell below the floor: the fault of `capacity-low`.
    logs : sequence of Logged
        The homes as they are.
    """
    onset_ms = START_MS + onset_day * DAY_MS
    crossed_ms = [None if day is None else START_MS + day * DAY_MS for day in crossed_days]
    # Who opens where the truth ends below the floor is right, however early.
    ends_low = [log.home.truth.ten_year_of_rated < FLOOR_RATIO for log in logs]
    rows = []
    for rule, name, since in (
        ("fast-loss", "fast", [onset_ms] * len(worn_out)),
        ("capacity-low", "above", crossed_ms),
        ("forecast-low", "chance", [onset_ms] * len(worn_out)),
    ):
        opened, told = (
            [openings(rule, zip(each.at_ms, getattr(each, name), strict=True)) for each in looks]
            for looks in (plain, worn_out)
        )
        after = [_new(each, [], onset_ms) for each in told]
        rows.append(
            Row(
                rule=rule,
                fault=WORN,
                opened=sum(map(len, opened)),
                right=sum(len(each) for each, right in zip(opened, ends_low, strict=True) if right),
                years=sum(log.days for log in logs) / 365.25,
                delays_h=[
                    None if from_ms is None else _first_h(each, from_ms)
                    for each, from_ms in zip(after, since, strict=True)
                ],
                again=sum(max(len(each) - 1, 0) for each in after),
            )
        )
    return rows


def _new(told: Sequence[int], old: Sequence[int], onset_ms: int) -> list[int]:
    return [at for at in told if at not in old and at >= onset_ms]


def _first_h(told: Sequence[int], since_ms: int) -> float | None:
    return (told[0] - since_ms) / 3_600_000 if told else None


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return 0."""
    parser = argparse.ArgumentParser(prog="python -m tests.alert_table", description=__doc__)
    parser.add_argument("--homes", type=int, default=12)
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--years", type=float, default=1.5)
    parser.add_argument("--worn-years", type=float, default=2.5)
    parser.add_argument("--write", type=Path, help="such as docs/alerts.md")
    asked = parser.parse_args(arguments)
    started = time.monotonic()
    usual, long = (
        [
            replace(spec, step_s=300, inner_s=300)
            for spec in draw_homes(asked.homes, seed=asked.seed, years=years)
        ]
        for years in (asked.years, asked.worn_years)
    )
    logs = [logged(home) for home in simulate(usual)]
    rows = rows_of(logs, ONSET_DAY)
    tired = simulate([worn(spec, ONSET_DAY) for spec in long])
    crossed = [below_floor_day(home) for home in tired]
    rows += rows_of_wear(
        [looked(log) for log in logs],
        [looked(logged(home)) for home in tired],
        crossed,
        ONSET_DAY,
        logs,
    )
    which = (
        f"--homes {asked.homes} --seed {asked.seed} --years {asked.years:g} "
        f"--worn-years {asked.worn_years:g}"
    )
    text = page(
        rows,
        homes=asked.homes,
        onset_day=ONSET_DAY,
        worn_days=[None if day is None else day - ONSET_DAY for day in crossed],
        command=f"python -m tests.alert_table {which}",
        took=f"It took {(time.monotonic() - started) / 60:.0f} minutes.",
    )
    tell(text, asked.write)
    return 0


def tell(text: str, path: Path | None) -> None:
    """Write a page to the screen, and to a file where one was asked for."""
    if path is not None:
        path.write_text(text, encoding="utf-8")
    sys.stdout.write(text)


if __name__ == "__main__":
    sys.exit(main())
