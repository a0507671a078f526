from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from joulebook.demo.sun import (
    SunPosition,
    clear_sky_w_m2,
    cloud_passes,
    panel_w_m2,
    sun_position,
)

# The place of the worked example in Reda & Andreas, NREL/TP-560-34302.
LATITUDE, LONGITUDE = 39.742476, -105.1786


def minutes_of(day: datetime, hours: int = 24) -> np.ndarray:
    start_ms = int(day.timestamp() * 1000)
    return start_ms + np.arange(hours * 60 + 1, dtype=np.int64) * 60_000


def sun_of(at_ms: np.ndarray) -> SunPosition:
    return sun_position(at_ms, latitude_deg=LATITUDE, longitude_deg=LONGITUDE)


def test_the_sun_stands_where_the_reference_algorithm_says() -> None:
    # CV-120: NREL/TP-560-34302, 2003-10-17 12:30:30 UTC-7: zenith 50.11162°, azimuth 194.34024°.
    # Tolerance of our own: Spencer's short series is good to a quarter of a degree or so.
    at = datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC)
    sun = sun_of(np.array([int(at.timestamp() * 1000)], dtype=np.int64))
    assert np.degrees(np.arccos(sun.cos_zenith))[0] == pytest.approx(50.11162, abs=0.25)
    assert np.degrees(sun.azimuth_rad)[0] == pytest.approx(194.34024, abs=0.25)


def test_a_clear_day_brings_what_the_reference_library_says() -> None:
    # CV-121: pvlib 0.16.1 clearsky.haurwitz, 2025-06-21, same place: 8.794 kWh/m². Tolerance 0.5 %
    # of our own, for the short position formula.
    at_ms = minutes_of(datetime(2025, 6, 21, 7, tzinfo=UTC))
    light = clear_sky_w_m2(sun_of(at_ms).cos_zenith)
    assert np.trapezoid(light) / 60 / 1000 == pytest.approx(8.794, rel=0.005)


def test_an_overcast_sky_passes_a_quarter() -> None:
    # Kasten & Czeplak 1980: 1 - 0.75 at full cover; all of it without clouds (from memory).
    np.testing.assert_allclose(cloud_passes(np.array([0.0, 1.0])), [1.0, 0.25])


@pytest.mark.parametrize("cover", [0.0, 0.5, 1.0])
def test_a_plane_that_lies_flat_gets_what_falls_on_level_ground(cover: float) -> None:
    sun = sun_of(minutes_of(datetime(2025, 3, 20, 7, tzinfo=UTC)))
    flat = panel_w_m2(sun, np.full(len(sun.cos_zenith), cover), tilt_deg=0, facing_deg=180)
    level = clear_sky_w_m2(sun.cos_zenith) * cloud_passes(np.array(cover))
    high = sun.cos_zenith > 0.1
    np.testing.assert_allclose(flat[high], level[high], rtol=1e-9)


def test_a_tilt_to_the_south_pays_in_winter_and_not_to_the_north() -> None:
    sun = sun_of(minutes_of(datetime(2025, 12, 21, 7, tzinfo=UTC)))
    clear = np.zeros(len(sun.cos_zenith))
    south, north, flat = (
        panel_w_m2(sun, clear, tilt_deg=tilt, facing_deg=facing).sum()
        for tilt, facing in ((40, 180), (40, 0), (0, 180))
    )
    assert south > 1.5 * flat
    assert north < 0.5 * flat


def test_nights_are_dark_and_no_minute_beats_the_sun_itself() -> None:
    for week in range(52):
        day = datetime(2025, 1, 1, 7, tzinfo=UTC) + timedelta(weeks=week)
        sun = sun_of(minutes_of(day))
        light = panel_w_m2(sun, np.zeros(len(sun.cos_zenith)), tilt_deg=30, facing_deg=190)
        assert not light[sun.cos_zenith <= 0].any()
        # The solar constant is 1367 W/m², and a clear atmosphere takes its share.
        assert 0 <= light.min() <= light.max() < 1200
