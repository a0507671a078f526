"""Thousands of simulated homes with what pages of many homes read of them: no readings of years.

Each has a newest reading and a stored analysis that is made up; ageing follows a law of its own.
A few stand out, are silent, have alerts, or have said nothing of their warranty.
"""

from collections.abc import Callable
from contextlib import closing
from dataclasses import fields
from datetime import UTC, date, datetime, timedelta
from typing import Any

import numpy as np

from joulebook.core.battery.capacity import CAPACITY_METHOD
from joulebook.core.losses.full_segments import SegmentSums
from joulebook.core.records.record import RECORD_METHOD
from joulebook.storage.alerts import open_episode
from joulebook.storage.catalogue import sites
from joulebook.storage.database import Connection, Database, transaction
from joulebook.storage.record_results import record_mark, save_record_result
from joulebook.storage.records import Column, DeviceRows, Site
from joulebook.storage.series import SeriesRegister
from joulebook.storage.writing import write_rows
from joulebook.summaries.records_due import ENTERED_NAME, entered_digest
from joulebook.summaries.site_records import RECORD_NAME, encoded_document

_COLUMNS = (Column("power", "W"), Column("soc", "/"), Column("temperature", "Cel"))
_MINUTE_MS, _YEAR_DAYS = 60_000, 365.25
_AT_ONCE = 200
_K90 = 1.645


def fill_homes(
    database: Database,
    homes: int,
    *,
    now_ms: int,
    seed: int = 1,
    progress: Callable[[int], object] = lambda _done: None,
) -> None:
    """Add homes to a database, named ``home-00001`` and so on.

    Parameters
    ----------
    now_ms : int
        When their newest readings were taken, but for those that are silent. [ms, UTC epoch]
    progress : callable
        Told how many are done.
    """
    rng = np.random.default_rng(seed)
    register = SeriesRegister()
    with closing(database.connect()) as connection:
        _add_sites(connection, homes, rng, now_ms)
        there = sites(database)
        for first in range(0, homes, _AT_ONCE):
            some = there[first : first + _AT_ONCE]
            with transaction(connection):
                for site in some:
                    _fill(connection, register, site, rng, now_ms)
            progress(first + len(some))


def _add_sites(connection: Connection, homes: int, rng: np.random.Generator, now_ms: int) -> None:
    today = datetime.fromtimestamp(now_ms / 1000, tz=UTC).date()
    ages = rng.uniform(0.6, 8.0, homes)
    with transaction(connection):
        connection.executemany(
            """
            INSERT INTO sites (name, timezone, battery_ah, battery_cells, installed,
                warranty_years, warranty_floor_ratio)
            VALUES (?, 'Europe/Lisbon', 200.0, 16, ?, ?, ?)
            """,
            [
                (
                    f"home-{number + 1:05d}",
                    (today - timedelta(days=round(age * _YEAR_DAYS))).isoformat(),
                    *((None, None) if number % 25 == 0 else (10.0 if number % 2 else 8.0, 0.7)),
                )
                for number, age in enumerate(ages.tolist())
            ],
        )


def _fill(
    connection: Connection,
    register: SeriesRegister,
    site: Site,
    rng: np.random.Generator,
    now_ms: int,
) -> None:
    """Write a newest reading, an analysis and, for some, an alert, in the caller's transaction."""
    series = register.resolve(connection, site.id, "battery", _COLUMNS)
    ago_ms = int(rng.integers(0, 2 * _MINUTE_MS)) + (200 * _MINUTE_MS if rng.random() < 0.02 else 0)
    row = (now_ms - ago_ms, float(rng.normal(0, 900)), 0.6, float(rng.normal(24, 4)))
    part = DeviceRows(site.id, series[0].device_id, series, [row])
    write_rows(connection, {site.id: site.zone}, [part])
    results = {
        RECORD_NAME: encoded_document(made_up_record(site, rng, now_ms)),
        ENTERED_NAME: entered_digest(connection, site),
    }
    mark = record_mark(connection, site.id)
    for name, result in results.items():
        save_record_result(
            *(connection, site.id, name, RECORD_METHOD, result), mark=mark, computed_ms=now_ms
        )
    if rng.random() < 0.03:
        rule, sentence = (
            ("never-full", "the battery was last full 24 days ago"),
            ("hot-battery", "battery is at 46.2 °C"),
        )[int(rng.random() < 0.2)]
        open_episode(
            *(connection, site.id, rule, ""),
            at_ms=now_ms - int(rng.integers(1, 30)) * 86_400_000,
            value=46.2,
            sentence=sentence,
        )


def made_up_record(site: Site, rng: np.random.Generator, now_ms: int) -> dict[str, Any]:
    """Return what an analysis of a home might have said: the parts that are read of many."""
    today = datetime.fromtimestamp(now_ms / 1000, tz=UTC).date()
    begins = site.installed or today - timedelta(days=365)
    age = (today - begins).days / _YEAR_DAYS
    heat, cycles = float(np.exp(0.055 * rng.normal(-1, 4))), float(rng.normal(220, 60))
    extra = 0.13 if rng.random() < 0.005 else 0.0
    lost = 0.024 * np.sqrt(age * heat) + 3e-5 * cycles * age + extra
    held = float(1.01 - lost + 0.015 * rng.normal())
    fade = float(lost / age + 0.003 * rng.normal())
    known = rng.random() < 0.85
    ends = begins + timedelta(days=round((site.warranty_years or 10.0) * _YEAR_DAYS))
    expected = held - 0.6 * fade * (ends - today).days / _YEAR_DAYS
    chance = float(np.clip(0.5 + (expected - 0.7) / 0.12, 0.0, 1.0))
    return {
        "method": RECORD_METHOD,
        "from_ms": now_ms - round(age * _YEAR_DAYS) * 86_400_000,
        "to_ms": now_ms,
        "rated_ah": site.battery_ah,
        "capacity": {"latest": _capacity(held * 200.0 if known else None, rng)},
        "fade": _fade(fade if known and age > 1 else None, rng),
        "through": {"per_year": {"efc": cycles, "discharge_wh": 1e6, "thermal_years": heat}},
        "segments": _no_segments(),
        "warranty": {
            "begins": begins.isoformat(),
            "ends": ends.isoformat(),
            "floor_ratio": site.warranty_floor_ratio or 0.7,
            "throughput_wh": None,
            "assumed": [] if site.warranty_years else ["10 years are assumed"],
        },
        "forecast": _forecast(expected, chance, ends) if known else _no_forecast(),
    }


def _capacity(value: float | None, rng: np.random.Generator) -> dict[str, Any]:
    if value is None:
        reason = "the battery never comes low enough to measure what it holds"
        return dict.fromkeys(("ah", "low_ah", "high_ah")) | {"reason": reason}
    half = _K90 * 200.0 * float(rng.uniform(0.006, 0.02))
    ends = {"low_ah": value - half, "high_ah": value + half}
    return {"ah": value, **ends, "method": CAPACITY_METHOD}


def _fade(value: float | None, rng: np.random.Generator) -> dict[str, Any]:
    if value is None:
        reason = "the low points span too little time"
        return dict.fromkeys(("ratio_per_year", "low", "high")) | {"reason": reason}
    half = _K90 * float(rng.uniform(0.001, 0.004))
    return {"ratio_per_year": value, "low": value - half, "high": value + half}


def _forecast(expected: float, chance: float, ends: date) -> dict[str, Any]:
    middle = "beyond" if chance > 0.5 else (ends - timedelta(days=300)).isoformat()
    return {
        "expected_ratio": expected,
        "low": expected - 0.06,
        "high": expected + 0.05,
        "probability_met": chance,
        "floor_reached": {"early": "beyond", "middle": middle, "late": "beyond"},
    }


def _no_forecast() -> dict[str, Any]:
    names = ("expected_ratio", "low", "high", "probability_met", "floor_reached")
    return dict.fromkeys(names) | {"reason": "no capacity is measured"}


def _no_segments() -> dict[str, Any]:
    """Return no stretch from full to full, as an analysis stores them."""
    rest = {"at_ms": [], "current_a": [], "spread_a": [], "step_a": 0.0}
    return {each.name: [] for each in fields(SegmentSums)} | {"rest": rest}
