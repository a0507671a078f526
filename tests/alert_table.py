"""How soon alerts are told, and how often falsely, on simulated homes whose truth is known.

    python -m tests.alert_table --homes 12 --seed 3 --write docs/alerts.md

Each rule is run over what the homes logged, as it is and with a fault planted on a known day.
"""

import argparse
import sys
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from joulebook.core.alerts.episodes import Watch, step
from joulebook.core.alerts.rules import BY_NAME
from tests.alert_faults import DAY_MS, PLANTED, Logged, logged
from tests.helpers.homes import draw_homes, simulate
from tests.helpers.homes.home import START_MS

#: Faults begin on this day; the homes have lived half a year by then.
ONSET_DAY = 200
#: A rule is right about a home where the truth says so too; these opened without a fault are true.
_TRUE_WITHOUT_FAULT = frozenset({"bridge-silent", "gap", "hot-battery", "cold-charging"})


@dataclass(frozen=True, kw_only=True)
class Row:
    """What became of a rule over all homes.

    Attributes
    ----------
    opened, years : int and float
        Episodes without a fault, and the years of homes that were watched.
    delays_h : list of float or None
        From the fault to its alert, by home; ``None`` where it was not told. [h]
    """

    rule: str
    fault: str
    opened: int
    years: float
    delays_h: list[float | None]


def openings(rule: str, values: Iterable[tuple[int, float | None]]) -> list[int]:
    """Return when a rule's episodes opened. [ms, UTC epoch]"""
    limits, watch, found = BY_NAME[rule].limits, Watch(), []
    for at_ms, value in values:
        watch, change = step(limits, watch, value, at_ms)
        if change == "opened":
            found.append(at_ms)
    return found


def rows_of(logs: Sequence[Logged], onset_day: int) -> list[Row]:
    """Return a row for each rule that simulated homes can show."""
    rows = []
    for rule, see, plant, fault in PLANTED:
        plain = [openings(rule, see(log)) for log in logs]
        delays: list[float | None] = []
        for log, before in zip(logs, plain, strict=True):
            if plant is not None:
                told = [at for at in openings(rule, see(plant(log, onset_day))) if at not in before]
                onset_ms = START_MS + onset_day * DAY_MS
                after = [at - onset_ms for at in told if at >= onset_ms]
                delays.append(min(after) / 3_600_000 if after else None)
        rows.append(
            Row(
                rule=rule,
                fault=fault,
                opened=sum(map(len, plain)),
                years=sum(log.days for log in logs) / 365.25,
                delays_h=delays,
            )
        )
    return rows


def page(rows: Sequence[Row], *, homes: int, command: str, took: str) -> str:
    """Return the page."""
    lines = [
        "# How soon alerts are told, and how often falsely",
        f"Measured on {homes} simulated homes, drawn at random and logged every five minutes, by",
        f"`{command}`. {took}",
        "",
        "Each [rule](methods/alerts.md) with its usual limits was run over what the homes logged, "
        "as it is, and again with a",
        f"fault planted on day {ONSET_DAY}. Without a fault, openings of rules about the readings "
        "themselves (silence, gaps, heat, cold)",
        "are no false alarms: the simulated loggers do fall silent, and some rooms are hot. "
        "Openings of the others are. Heat and cold",
        "are told when they come: a fault in a mild week waits for the weather.",
        "",
        "| Rule | Openings without a fault, a year and home | Planted fault | Told | Median delay "
        "| Longest |",
        "| --- | --- | --- | --- | --- | --- |",
    ]
    lines += [_line(row) for row in rows]
    false = sum(row.opened / row.years for row in rows if row.rule not in _TRUE_WITHOUT_FAULT)
    lines += [
        "",
        f"False alarms of the rules about equipment together: {false:.2f} a year and home.",
        "",
        "Not simulated here, and tested by hand-made readings only: `cell-spread`, `lugs`, `legs`, "
        "`neutral`, `disk`, `backup`.",
        "`capacity-low` and `forecast-low` are looked at monthly; no home of this age is below its "
        "floor.",
    ]
    return "\n".join(lines) + "\n"


def _line(row: Row) -> str:
    known = [each for each in row.delays_h if each is not None]
    told = f"{len(known)} of {len(row.delays_h)}" if row.delays_h else "-"
    middle, longest = (_hours(each(known)) if known else "-" for each in (np.median, np.max))
    rate = f"{row.opened / row.years:.2f}"
    return f"| `{row.rule}` | {rate} | {row.fault or '-'} | {told} | {middle} | {longest} |"


def _hours(hours: float) -> str:
    if hours < 2:
        return f"{60 * hours:.0f} min"
    return f"{hours:.0f} h" if hours < 72 else f"{hours / 24:.0f} days"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return 0."""
    parser = argparse.ArgumentParser(prog="python -m tests.alert_table", description=__doc__)
    parser.add_argument("--homes", type=int, default=12)
    parser.add_argument("--seed", type=int, default=3)
    parser.add_argument("--years", type=float, default=1.5)
    parser.add_argument("--write", type=Path, help="such as docs/alerts.md")
    asked = parser.parse_args(arguments)
    started = time.monotonic()
    specs = [
        replace(spec, step_s=300, inner_s=300)
        for spec in draw_homes(asked.homes, seed=asked.seed, years=asked.years)
    ]
    rows = rows_of([logged(home) for home in simulate(specs)], ONSET_DAY)
    which = f"--homes {asked.homes} --seed {asked.seed} --years {asked.years:g}"
    text = page(
        rows,
        homes=asked.homes,
        command=f"python -m tests.alert_table {which}",
        took=f"It took {(time.monotonic() - started) / 60:.0f} minutes.",
    )
    if asked.write is not None:
        asked.write.write_text(text, encoding="utf-8")
    sys.stdout.write(text)
    return 0


if __name__ == "__main__":
    sys.exit(main())
