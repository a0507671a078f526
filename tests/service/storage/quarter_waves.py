"""Readings that rise and fall, and their quarter hours stored as the keeper stores them."""

from dataclasses import fields

import numpy as np
from numpy.testing import assert_allclose, assert_array_equal

from joulebook.core.daily.quarters import Quarters
from joulebook.core.spans import Span
from joulebook.storage.database import Connection
from joulebook.storage.periods import DAY_MS, day_of
from joulebook.storage.quarter_marks import dirty_quarters
from joulebook.storage.quarter_saving import save_quarters
from joulebook.storage.quarters import fresh_quarters
from joulebook.storage.records import Value
from tests.helpers.databases import NOON_MS

MIDNIGHT_MS = day_of(NOON_MS) * DAY_MS
WEEK = Span(MIDNIGHT_MS - 2 * DAY_MS, MIDNIGHT_MS + 5 * DAY_MS)


def save_all(connection: Connection) -> None:
    for each in dirty_quarters(connection):
        computed = dict(fresh_quarters(connection, each.site_id, each.device, [each.day]))
        save_quarters(connection, each.site_id, each.device, computed, {each.day: each.mark})


def wave(
    first_ms: int, hours: float, step_s: int = 60, scale: float = 100.0
) -> dict[int, dict[str, Value]]:
    return {
        first_ms + n * step_s * 1000: {"power": round(scale * np.sin(n / 50)), "soc": 0.5}
        for n in range(int(hours * 3600 / step_s))
    }


def assert_same(found: Quarters, expected: Quarters, atol: float = 0.0051) -> None:
    """Hold quarters to others: equal, but for means, which are stored in steps."""
    for field in fields(Quarters):
        if field.name != "mean":
            assert_array_equal(getattr(found, field.name), getattr(expected, field.name))
    assert_allclose(found.mean, expected.mean, rtol=0, atol=atol)
