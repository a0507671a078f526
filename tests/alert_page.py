"""The page that tells how soon alerts are told, and how often falsely."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tests.alert_logs import FLOOR_RATIO
from tests.alert_wear import EVERY_DAYS, FIRST_DAY, LOST_A_YEAR, lost_since_onset

#: A rule is right about a home where the truth says so too; these opened without a fault are true.
_TRUE_WITHOUT_FAULT = frozenset({"bridge-silent", "gap", "hot-battery", "cold-charging"})


@dataclass(frozen=True, kw_only=True)
class Row:
    """What became of a rule over all homes.

    Attributes
    ----------
    opened, right, years : int, int and float
        Episodes without a fault, those of them that the truth agrees with, and the years of homes
        that were watched.
    delays_h : list of float or None
        From the fault to its alert, by home; ``None`` where it was not told. [h]
    again : int
        Episodes of all homes that opened later, though the fault had never gone.
    """

    rule: str
    fault: str
    opened: int
    years: float
    delays_h: list[float | None]
    again: int = 0
    right: int = 0


def page(
    rows: Sequence[Row],
    *,
    homes: int,
    onset_day: int,
    worn_days: Sequence[int | None],
    command: str,
    took: str,
) -> str:
    """Return the page.

    Parameters
    ----------
    worn_days : sequence of int or None
        From the onset of faster wear until the true capacity was below the floor, by home.
    """
    lines = [
        "# How soon alerts are told, and how often falsely",
        f"Measured on {homes} simulated homes, drawn at random and logged every five minutes, by",
        f"`{command}`. {took}",
        "",
        "Each [rule](methods/alerts.md) with its usual limits was run over what the homes logged, "
        "as it is, and again with a",
        f"fault planted on day {onset_day}. Without a fault, openings of rules about the readings "
        "themselves (silence, gaps, heat, cold)",
        "are no false alarms: the simulated loggers do fall silent, and some rooms are hot. "
        "Openings of the others are. Heat and cold",
        "are told when they come: a fault in a mild week waits for the weather, and every cold "
        "day is told. Told again: episodes that",
        "opened later, of all homes together, though the fault had never gone; a rule that "
        "compares weeks closes when the fault is in both.",
        "",
        "| Rule | Openings without a fault, a year and home | Planted fault | Told | Median delay "
        "| Longest | Told again |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    lines += [_line(row) for row in rows]
    counted = [row for row in rows if row.rule not in _TRUE_WITHOUT_FAULT]
    false = sum((row.opened - row.right) / row.years for row in counted)
    right = sum(row.right for row in counted)
    lines += [
        "",
        f"False alarms of the rules about equipment together: {false:.2f} a year and home."
        + (
            f" Not counted: {right} of homes whose true capacity ends below the floor, as was told."
            if right
            else ""
        ),
        "",
        *_about(homes, worn_days, {row.rule: row for row in rows}),
    ]
    return "\n".join(lines) + "\n"


def _about(homes: int, worn_days: Sequence[int | None], rows: dict[str, Row]) -> list[str]:
    crossed = [day for day in worn_days if day is not None]
    lines = [
        "**Capacity.** The homes were simulated again with a battery that wears by "
        f"{LOST_A_YEAR:.1%} a year, and from the same day on ever",
        f"faster: {lost_since_onset(0.5):.0%} more are lost after half a year, "
        f"{lost_since_onset(1.0):.0%} after a year, {lost_since_onset(1.5):.0%} after a year and "
        "a half. The true capacity was below",
        f"the floor of {FLOOR_RATIO:.0%} of the rated charge in {len(crossed)} of {homes} homes"
        + (f", at the median {np.median(crossed):.0f} days later" if crossed else "")
        + ". The delay of",
        "`capacity-low` counts from there, that of the two others from the day on which the wear "
        "began to grow. The record was looked at",
        f"every {EVERY_DAYS} days from day {FIRST_DAY} on; `forecast-low` waits for two looks, "
        "and there is no forecast before a record is a year long.",
        "Where wear is as fast as this, the newest nights speak for the capacity ([fast-loss]"
        "(methods/fast-loss.md)), and no forecast is told any more.",
    ]
    leads = [
        24 * day - delay
        for day, delay in zip(worn_days, rows["forecast-low"].delays_h, strict=True)
        if day is not None and delay is not None
    ]
    if leads:
        lines.append(
            f"`forecast-low` was told {_time(float(np.median(leads)))} before the floor was "
            f"crossed, at the median; in {sum(each < 0 for each in leads)} of {len(leads)} homes "
            "after it."
        )
    return [
        *lines,
        "",
        "**Wiring and cells.** The simulation knows no cables, legs, neutral or single cells. "
        "Their readings are made of what it logged: the",
        "inverter's voltage from the battery's with 1 to 3 mΩ between and a voltmeter of 0.1 V; "
        "the legs from the load, 30 to 70 % on one of",
        "them, hour by hour otherwise; their voltages with 0.03 Ω in each wire; the weak cell from "
        "the rest voltage of the home's cells at the",
        "battery's own state of charge. So the rates without a fault are those of wiring as we "
        "drew it. A home whose battery seldom rests, or not",
        "in the lower third, shows a weak cell late.",
        "",
        "Not simulated here, and tested by hand-made readings only: `disk`, `backup`.",
    ]


def _line(row: Row) -> str:
    known = [each for each in row.delays_h if each is not None]
    told = f"{len(known)} of {len(row.delays_h)}" if row.delays_h else "-"
    middle, longest = (_time(float(each(known))) if known else "-" for each in (np.median, np.max))
    rate, again = f"{row.opened / row.years:.2f}", row.again if known else "-"
    return (
        f"| `{row.rule}` | {rate} | {row.fault or '-'} | {told} | {middle} | {longest} | {again} |"
    )


def _time(hours: float) -> str:
    size = abs(hours)
    if size < 2:
        return f"{60 * hours:.0f} min"
    return f"{hours:.0f} h" if size < 72 else f"{hours / 24:.0f} days"
