"""The table of alerts: how delays and false alarms are counted, and a home with each fault."""

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tests import alert_table
from tests.alert_logs import Logged, logged
from tests.alert_page import Row, page
from tests.alert_table import PLANTED, openings, rows_of_wear, tell
from tests.alert_wear import Looks, first_below, lost_since_onset, worn
from tests.alert_wiring import lug_rises
from tests.helpers.homes import HomeSpec, named_homes, simulate
from tests.helpers.homes.home import START_MS

DAY_MS = 86_400_000


@pytest.fixture(scope="module")
def eleven_days() -> Logged:
    spec = replace(named_homes()["deep-perfect"], years=0.03)
    return logged(simulate([worn(spec, 5)])[0])


def test_openings_are_those_of_the_rule_with_its_hysteresis() -> None:
    values = [(0, 29.0), (1, 31.0), (2, 29.0), (3, 31.0), (4, 4.0), (5, 30.0), (6, None)]
    assert openings("bridge-silent", values) == [1, 5]


def forecast(*delays_h: float | None) -> Row:
    return Row(rule="forecast-low", fault="wears", opened=0, years=6.0, delays_h=list(delays_h))


def told(rows: Sequence[Row], worn_days: Sequence[int | None] = (None, None)) -> str:
    return page(
        rows, homes=4, onset_day=200, worn_days=worn_days, command="a command", took="A minute."
    )


def test_rates_are_by_year_and_home_and_delays_by_their_median() -> None:
    row = Row(
        rule="idle-jump",
        fault="25 W more",
        opened=3,
        years=6.0,
        delays_h=[1.0, None, 100.0, 48.0],
        again=2,
    )
    silent = replace(row, rule="bridge-silent", opened=60, fault="", delays_h=[])
    early = replace(row, rule="capacity-low", opened=0, delays_h=[-240.0, -1.0])
    text = told([row, silent, early, forecast(None, None)])
    assert "Not counted" not in text
    assert "| `idle-jump` | 0.50 | 25 W more | 3 of 4 | 48 h | 4 days | 2 |" in text
    assert "| `bridge-silent` | 10.00 | - | - | - | - | - |" in text
    assert "| `capacity-low` | 0.00 | 25 W more | 2 of 2 | -5 days | -60 min | 2 |" in text
    assert "equipment together: 0.50 a year and home" in text
    assert "in 0 of 4 homes. The delay of" in text
    assert "before the floor was crossed" not in text
    # Four episodes without a fault in six years, one of them right: 3 / 6.
    right = replace(forecast(None, None), opened=1, right=1)
    assert "0.50 a year and home. Not counted: 1 of homes" in told([row, right])


def test_how_long_before_the_floor_a_forecast_is_told() -> None:
    # Crossed 500 and 400 days after the wear grew, told 200 and 250 days after: 300 and 150 before.
    text = told([forecast(24 * 200.0, 24 * 250.0, None)], [500, 400, None])
    assert "in 2 of 4 homes, at the median 450 days later" in text
    assert "told 225 days before the floor was crossed, at the median; in 0 of 2 homes" in text


def test_capacity_counts_from_the_floor_and_the_forecast_from_the_wear(
    eleven_days: Logged,
) -> None:
    at_ms = [START_MS + day * DAY_MS for day in range(180, 480, 15)]
    days = [(each - START_MS) // DAY_MS for each in at_ms]
    sound = Looks(at_ms=at_ms, above=[20.0] * 20, chance=[None] * 20, fast=[0.0] * 20)
    fading = Looks(
        at_ms=at_ms,
        above=[-1.0 if day >= 420 else 5.0 for day in days],
        # Low on day 255 for the first time, and after the 14 days that the rule waits on 270.
        chance=[10.0 if day >= 255 else None for day in days],
        fast=[float(day >= 300) for day in days],
    )
    unseen = replace(fading, above=[None] * 20)
    gloomy = replace(sound, chance=[40.0] * 20)
    home = eleven_days.home
    ends_low = np.where(np.arange(16) == 10, 0.6 * home.spec.pack.rated_ah, home.truth.yearly_ah)
    dying = replace(home, truth=replace(home.truth, yearly_ah=ends_low))
    well = np.where(np.arange(16) == 10, 0.8 * home.spec.pack.rated_ah, home.truth.yearly_ah)
    living = replace(home, truth=replace(home.truth, yearly_ah=well))
    logs = [replace(eleven_days, home=each) for each in (living, living, dying)]
    fast, capacity, chance = rows_of_wear(
        [sound, gloomy, gloomy], [fading, unseen, fading], [400, 400, None], 200, logs
    )
    assert fast.delays_h == [24 * 100.0] * 3
    assert fast.opened == 0
    assert capacity.delays_h == [24 * 20.0, None, None]
    assert chance.delays_h == [24 * 70.0] * 3
    # Gloomy without a fault at two homes, and right at the one that ends below the floor.
    assert (capacity.opened, capacity.right, capacity.again) == (0, 0, 0)
    assert (chance.opened, chance.right, chance.again) == (2, 1, 0)
    assert chance.years == pytest.approx(30 / 365.25)


def test_the_first_day_below_a_floor() -> None:
    assert first_below(np.array([3.0, 1.9, 2.5, 1.0]), 2.0) == 1
    assert first_below([3.0, 2.0], 2.0) is None


def test_wear_is_slow_before_its_onset_and_grows_after_it(eleven_days: Logged) -> None:
    new_ah = eleven_days.home.spec.pack.rated_ah * 1.02
    capacity_ah = eleven_days.home.truth.daily.capacity_ah
    # 1.5 % a year is evenly lost for five days.
    a_day = 0.015 / 365.25
    assert -np.diff(capacity_ah)[:3] / new_ah == pytest.approx([a_day] * 3, rel=1e-6)
    # The last day of the eleven ends six days after the onset; the simulation goes day by day.
    lost = 1 - capacity_ah[-1] / new_ah - 5 * a_day
    assert lost == pytest.approx(lost_since_onset(6 / 365.25), rel=0.01)
    # By hand: exp(185 · 0.015 · 1.5) = exp(4.1625) = 64.23; less 1, by 185.
    assert lost_since_onset(1.5) == pytest.approx(0.3418, abs=1e-4)


def test_cables_without_a_current_tell_nothing(eleven_days: Logged) -> None:
    still = replace(eleven_days.history, current_a=0 * eleven_days.history.current_a)
    values = [value for _, value in lug_rises(replace(eleven_days, history=still))]
    assert values == [None] * 4
    rises = [value for _, value in lug_rises(eleven_days)]
    assert rises[0] is None
    assert all(rise is not None and abs(rise) < 2.0 for rise in rises[1:])


def test_without_a_file_a_page_is_only_told(capsys: pytest.CaptureFixture[str]) -> None:
    tell("a page\n", None)
    assert capsys.readouterr().out == "a page\n"


def test_the_command_writes_the_page_and_every_planted_fault_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def few(count: int, *, seed: int, years: float) -> Sequence[HomeSpec]:
        assert (count, seed) == (1, 5)
        return [replace(named_homes()["deep-perfect"], years=years)]

    monkeypatch.setattr(alert_table, "draw_homes", few)
    monkeypatch.setattr(alert_table, "ONSET_DAY", 160)
    written = tmp_path / "alerts.md"
    arguments = ["--homes", "1", "--seed", "5", "--years", "0.6", "--worn-years", "0.1"]
    assert alert_table.main([*arguments, "--write", str(written)]) == 0
    text = capsys.readouterr().out
    assert written.read_text(encoding="utf-8") == text
    rows = {line.split("`")[1]: line for line in text.splitlines() if line.startswith("| `")}
    assert set(rows) == {rule for rule, *_ in PLANTED} | {
        "fast-loss",
        "capacity-low",
        "forecast-low",
    }
    for rule in ("bridge-silent", "idle-jump", "round-trip-drop", "never-full", "cold-charging"):
        assert "| 1 of 1 |" in rows[rule], rows[rule]
    for rule in ("lugs", "legs", "neutral", "cell-spread"):
        assert "| 1 of 1 |" in rows[rule], rows[rule]
        assert f"| `{rule}` | 0.00 |" in rows[rule]
    for rule in ("idle-jump", "round-trip-drop", "never-full", "capacity-low", "forecast-low"):
        assert f"| `{rule}` | 0.00 |" in rows[rule]
    assert "in 0 of 1 homes." in text
