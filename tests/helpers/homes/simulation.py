"""The loop over time: homes go through their days together, and their logs are written."""

from collections.abc import Sequence

import numpy as np

from joulebook.core.history import DAYS_PER_YEAR, Floats
from tests.helpers.homes.control import Controls, Schedule
from tests.helpers.homes.course import Course, Record
from tests.helpers.homes.home import START_MS, Home, Log
from tests.helpers.homes.metering import log_chunk
from tests.helpers.homes.packs import Packs
from tests.helpers.homes.sensors import daily_offset_a, silence
from tests.helpers.homes.spec import HomeSpec
from tests.helpers.homes.truth import DailyTruth, Truth, project
from tests.helpers.homes.usage import load_w, outages
from tests.helpers.homes.weather import air_c, panels_w, spells

_CHUNK_DAYS = 14
_CURVES_EVERY_DAYS = 7
_HOMES_AT_ONCE = 64


def simulate(specs: Sequence[HomeSpec]) -> list[Home]:
    """Return the homes of these specifications, in their order.

    Homes of the same length and inner step go together; what comes out does not depend on the
    company that a home is simulated in.
    """
    groups: dict[tuple[int, int], list[int]] = {}
    for place, spec in enumerate(specs):
        days = int(np.ceil(spec.years * DAYS_PER_YEAR))
        groups.setdefault((spec.inner_s, days), []).append(place)
    homes: dict[int, Home] = {}
    for (inner_s, days), places in groups.items():
        for first in range(0, len(places), _HOMES_AT_ONCE):
            some = places[first : first + _HOMES_AT_ONCE]
            together = _simulate_together([specs[place] for place in some], inner_s, days)
            homes.update(zip(some, together, strict=True))
    return [homes[place] for place in range(len(specs))]


def _simulate_together(specs: Sequence[HomeSpec], inner_s: int, days: int) -> list[Home]:
    records = [_begin(spec, days) for spec in specs]
    first = np.array([air_c(s.place, np.zeros(1), np.zeros(1))[0] for s in specs])
    packs = Packs(specs, step_s=inner_s, temperature_c=first)
    controls = Controls(packs)
    for day in range(0, days, _CHUNK_DAYS):
        _go_through(records, packs, controls, day, min(_CHUNK_DAYS, days - day))
    truths = [
        DailyTruth(**{name: np.concatenate(parts) for name, parts in record.daily.items()})
        for record in records
    ]
    yearly_ah = project(specs, packs.ageing, truths)
    return [
        _finish(record, daily, ah)
        for record, daily, ah in zip(records, truths, yearly_ah, strict=True)
    ]


def _begin(spec: HomeSpec, days: int) -> Record:
    rng = np.random.default_rng((spec.seed, 0))
    per_day = 86_400 // max(spec.step_s, 60)
    return Record(
        spec,
        offset_a=daily_offset_a(spec, days),
        state=silence(spec, days, per_day),
        rng=rng,
        spell_c=spells(rng, days + 2, 0.0) * spec.place.weather_c,
        spell_sun=spells(rng, days + 2, 0.0, 0.6),
    )


def _finish(record: Record, daily: DailyTruth, yearly_ah: Floats) -> Home:
    fulls = np.array(record.fulls).reshape(-1, 3)
    truth = Truth(
        spec=record.spec,
        start_ms=START_MS,
        daily=daily,
        yearly_ah=yearly_ah,
        full_ms=fulls[:, 0].astype(np.int64),
        full_charge_wh=fulls[:, 1],
        full_discharge_wh=fulls[:, 2],
    )
    columns = {name: np.concatenate(parts) for name, parts in record.columns.items()}
    return Home(spec=record.spec, log=Log.of(record.state, columns), truth=truth)


def _go_through(
    records: Sequence[Record], packs: Packs, controls: Controls, first_day: int, count: int
) -> None:
    """Simulate and log ``count`` days of all homes."""
    specs, inner_s = packs.specs, round(packs.step_h * 3600)
    per_day = 86_400 // inner_s
    days = first_day + np.arange(count * per_day) / per_day
    schedule, air = Schedule(specs, days), np.empty((len(days), len(specs)))
    asked: list[tuple[Floats, Floats]] = []
    for home, record in enumerate(records):
        pv_w, needed_w, away = _around(record, days, inner_s)
        schedule.feed(home, record.spec, pv_w, needed_w, away)
        asked.append((pv_w, needed_w))
        spell_c = np.interp(days, np.arange(record.spell_c.size), record.spell_c)
        air[:, home] = air_c(record.spec.place, days, spell_c)
    course, claimed_ah = _live(packs, controls, schedule, air, records, first_day, count)
    for home, record in enumerate(records):
        log_chunk(
            record, course, home, first_day=first_day, inner_s=inner_s,
            pv_w=asked[home][0], load_w=asked[home][1],
            island=schedule.island[:, home], claimed_ah=claimed_ah[:, home],
        )  # fmt: skip


def _around(record: Record, days: Floats, inner_s: int) -> tuple[Floats, Floats, Floats]:
    """Return what panels could give and the load asks for, and 1 where the grid is away."""
    spec, rng = record.spec, record.rng
    spell = np.interp(days, np.arange(record.spell_sun.size), record.spell_sun)
    pv_w = panels_w(rng, spec.place, days, spell, inner_s)
    needed_w = load_w(rng, spec.use, days, latitude_deg=spec.place.latitude_deg, step_s=inner_s)
    return pv_w, needed_w, outages(rng, spec.place.outages_per_year, len(days), inner_s)


def _live(
    packs: Packs, controls: Controls, schedule: Schedule, air: Floats,
    records: Sequence[Record], first_day: int, count: int,
) -> tuple[Course, Floats]:  # fmt: skip
    """Go through the days; return their course and the batteries' ideas of their capacity."""
    per_day, homes = len(air) // count, len(records)
    course, claimed_ah = Course.of(len(air), homes), np.empty((count, homes))
    gain = np.array([record.spec.sensor.gain for record in records])
    for day in range(count):
        if (first_day + day) % _CURVES_EVERY_DAYS == 0:
            packs.curves.age(packs.ageing.loss)
        offset_a = np.array([record.offset_a[first_day + day] for record in records])
        controls.begin_day(gain, offset_a)
        rows = slice(day * per_day, (day + 1) * per_day)
        for row in range(rows.start, rows.stop):
            if row % 10 == 0:
                packs.follow_temperature(air[row])
            controls.step(schedule, row)
            course.voltage_v[row] = packs.voltage_v
            course.current_a[row] = packs.current_a
            course.temperature_c[row] = packs.temperature_c
            course.ohm[row] = packs.now_ohm
            course.claimed_ratio[row] = controls.claimed_ratio
            course.x[row] = packs.charge_ah
            course.full[row] = controls.full
        course.x[rows] /= packs.capacity_ah
        _age(packs, course, rows)
        controls.end_day()
        claimed_ah[day] = controls.claimed_ah
        for home, record in enumerate(records):
            record.note(capacity_ah=packs.capacity_ah[home : home + 1].copy())
            record.note(offset_a=offset_a[home : home + 1])
    return course, claimed_ah


def _age(packs: Packs, course: Course, rows: slice) -> None:
    x = course.x[rows]
    moved_ah = np.abs(course.current_a[rows]).sum(axis=0) * packs.step_h
    packs.end_day(
        mean_c=course.temperature_c[rows].mean(axis=0),
        mean_x=x.mean(axis=0),
        cycles=moved_ah / (2 * packs.new_ah),
        depth=np.clip(x.max(axis=0) - x.min(axis=0), 0.05, 1),
    )
