from datetime import date

import numpy as np

from joulebook.core.spans import local_day
from joulebook.demo.studio import STEPS_A_DAY, ZONE
from joulebook.demo.weather import Sky, Weather, instants

START_MS = local_day(date(2025, 9, 1), ZONE).start_ms


def told(*pieces: int) -> list[Weather]:
    sky, first, weather = Sky(), 0, []
    for days in pieces:
        weather.append(sky.days(first, instants(START_MS, first, days)))
        first += days
    return weather


def test_steps_follow_each_other_across_days() -> None:
    at_ms = np.concatenate([instants(START_MS, 0, 2), instants(START_MS, 2, 1)])
    assert at_ms[0] == START_MS
    assert set(np.diff(at_ms)) == {120_000}


def test_the_same_days_have_the_same_weather_in_whatever_pieces_they_are_told() -> None:
    [whole] = told(12)
    pieces = told(1, 4, 7)
    for name in ("panel_w_m2", "cover", "ambient_c"):
        joined = np.concatenate([getattr(piece, name) for piece in pieces])
        np.testing.assert_array_equal(joined, getattr(whole, name))


def test_seasons_days_and_clouds_are_there() -> None:
    [year] = told(365)
    daily_c = year.ambient_c.reshape(-1, STEPS_A_DAY).mean(axis=1)
    winter, summer = daily_c[120:150].mean(), daily_c[303:333].mean()  # January, July
    assert summer - winter > 15
    assert -25 < year.ambient_c.min() < -2
    assert 30 < year.ambient_c.max() < 45
    daily_cover = year.cover.reshape(-1, STEPS_A_DAY).mean(axis=1)
    assert 0 <= year.cover.min() <= year.cover.max() <= 1
    assert daily_cover.min() < 0.15
    assert daily_cover.max() > 0.85
    # One cloudy day makes the next one likelier.
    assert np.corrcoef(daily_cover[1:], daily_cover[:-1])[0, 1] > 0.3


def test_a_day_of_sun_stays_within_what_is_possible() -> None:
    # CV-121: a clear midsummer day brings 8.8 kWh/m² on level ground at 40° north.
    [year] = told(365)
    daily = year.panel_w_m2.reshape(-1, STEPS_A_DAY).sum(axis=1) / 30 / 1000
    assert daily.max() < 9.0
    assert daily.min() > 0.2
    assert 4 < daily.mean() < 6.5
