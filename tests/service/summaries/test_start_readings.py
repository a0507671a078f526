from pathlib import Path

from joulebook.summaries.start_readings import readings_around
from tests.helpers.carried_sites import DAY_MS, HOUR_MS, MINUTE_MS, carried_site, end_ms

#: The last reading before the kettle of the last day.
AT_MS = end_ms() - DAY_MS + 7 * HOUR_MS - MINUTE_MS


def test_what_was_read_around_a_start(tmp_path: Path) -> None:
    found = readings_around(*carried_site(tmp_path), AT_MS, every_s=60.0)
    assert sorted(found) == ["L1", "L2", "load", "voltage"]
    at_ms, watts = found["load"]
    # Ten minutes before, up to twenty after.
    assert (at_ms[0], at_ms[-1]) == (AT_MS - 10 * MINUTE_MS, AT_MS + 19 * MINUTE_MS)
    assert watts.max() == 1900


def test_what_is_not_there_is_left_out(tmp_path: Path) -> None:
    site = carried_site(tmp_path, "load", "battery")
    assert readings_around(*site, AT_MS, every_s=1.0) == {}
    legless = carried_site(tmp_path / "legless", "load.power_l1", "battery.voltage")
    assert sorted(readings_around(*legless, AT_MS, every_s=1.0)) == ["load"]
