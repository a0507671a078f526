import numpy as np

from joulebook.bench.plant import DAY_MS
from joulebook.bench.questions import ONE_DEVICE, QUARTER_MS, SIX
from joulebook.bench.site import START_MS, Plan, day_span, pieces
from joulebook.bench.truth import Truth, energy_by_day
from joulebook.core.spans import Span
from joulebook.ingest.bulk import DeviceColumns


def test_energy_by_hand() -> None:
    # 1000 W for 10 s; then from 1000 to -500 W in 15 s: zero after 10 s, so 5000 Ws above and
    # 1250 Ws below; then 60 s of silence that count as nothing; then 10 s at -360 W on day 1.
    at_ms = np.array([0, 10_000, 25_000, 85_000, DAY_MS, DAY_MS + 10_000])
    power_w = np.array([1000.0, 1000.0, -500.0, -500.0, -360.0, -360.0])
    answer = energy_by_day(at_ms, power_w)
    assert answer["day"].tolist() == [0, 1]
    np.testing.assert_allclose(answer["charge_wh"], [15_000 / 3600, 0])
    np.testing.assert_allclose(answer["discharge_wh"], [1250 / 3600, 3600 / 3600])


def test_quarters_by_hand() -> None:
    # Every 10 s; 100 in the first quarter of an hour and 200 in the second, with the rise
    # between 890 and 900 s: on average 100 + 50 · 10/900 over time, but 100 of the readings.
    at_ms = START_MS + np.arange(0, 2 * QUARTER_MS, 10_000)
    value = np.where(at_ms < START_MS + QUARTER_MS, 100.0, 200.0)
    truth = Truth([], Span(START_MS, START_MS + DAY_MS))
    names = (*SIX, "power")
    truth.keep([DeviceColumns("battery", at_ms, dict.fromkeys(names, value))])
    weighted, plain = truth.quarters(weighted=True), truth.quarters(weighted=False)
    assert weighted["quarter"].tolist() == [START_MS // QUARTER_MS, START_MS // QUARTER_MS + 1]
    np.testing.assert_allclose(weighted["soc.mean"], [100 + 50 * 10 / 900, 200])
    np.testing.assert_allclose(plain["soc.mean"], [100, 200])
    assert plain["soc.count"].tolist() == [90, 90]
    assert weighted["soc.low"].tolist() == plain["soc.high"].tolist() == [100, 200]


def test_days_and_last_values_are_those_that_were_generated() -> None:
    first, second = pieces(Plan(days=8))
    truth = Truth([day_span(7)], Span(START_MS, START_MS + DAY_MS))
    for piece in (first, second):
        truth.keep(piece)
    battery = second[0]
    day = truth.day(day_span(7), ONE_DEVICE)
    np.testing.assert_array_equal(day["battery.at_ms"], battery.at_ms)
    np.testing.assert_array_equal(day["battery.soc"], battery.values["soc"])
    last = truth.last()
    assert last["at_ms"][0] == battery.at_ms[-1]
    assert last["value"].tolist() == [
        values[-1] for columns in second for values in columns.values.values()
    ]
    assert truth.readings == sum(
        columns.at_ms.size * len(columns.values) for piece in (first, second) for columns in piece
    )
