"""A pack of known truth that loses its capacity within months: what it holds is told still."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from joulebook.core.battery.fast_loss import METHOD, fast_loss
from joulebook.core.records.record import Record, analyse
from joulebook.summaries.record_document import record_document
from tests.helpers.cycled_packs import START_MS
from tests.helpers.cycled_records import DAY_MS, LOST_FAST, cycled_inputs

#: One per cent a year is lost before, and all along.
TRUE_AH = 200.0 * (1 - 0.01 * 420 / 365.25 - LOST_FAST[420])


@pytest.fixture(scope="module")
def record() -> Record:
    return analyse(cycled_inputs(450, fade_per_year=0.01, lost=LOST_FAST))


def test_what_it_holds_is_told_by_its_newest_nights(record: Record) -> None:
    latest = record.capacity.latest
    assert latest.ah.method == METHOD
    assert latest.ah.low is not None
    assert latest.ah.high is not None
    assert latest.ah.low < TRUE_AH < latest.ah.high
    assert latest.ah.high - latest.ah.low < 20.0
    # Without them the fit would have said this.
    [fitted], _ = record.fit.capacity_at(np.array([latest.at_ms]))
    assert fitted > 1.08 * TRUE_AH
    assert latest.health.value == pytest.approx(TRUE_AH / 200.0, abs=0.02)
    assert "capacity is being lost fast" in record.capacity.cautions[0]


def test_how_it_goes_on_is_not_told(record: Record) -> None:
    reason = record.fade.per_year.reason
    assert reason is not None
    assert "imply 23% less" in reason  # 153.7 Ah against 199.3, the median of the first nine months
    assert record.energy.wh.reason == reason
    assert record.forecast is not None
    assert record.forecast.soh_at_end.reason == reason
    assert record.forecast.probability_met is None
    assert record.forecast.fan == ()
    assert record.forecast.verdict == "not to be told"
    assert {each.forecast.probability_met for each in record.what_if} == {None}


def test_in_calm_times_the_fit_is_believed() -> None:
    calm = analyse(cycled_inputs(330, fade_per_year=0.03))
    assert calm.capacity.latest.ah.method != METHOD
    assert fast_loss(calm.fit, calm.nights) is None


def test_it_is_told_as_any_other(record: Record) -> None:
    document = record_document(record, ZoneInfo("UTC"), ())
    assert document["capacity"]["latest"]["method"] == METHOD
    assert document["forecast"]["probability_met"] is None
    at = datetime.fromtimestamp(record.capacity.latest.at_ms / 1000, tz=UTC)
    assert at > datetime.fromtimestamp((START_MS + 440 * DAY_MS) / 1000, tz=UTC)
