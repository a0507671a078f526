from datetime import date
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from joulebook.storage.records import Site
from joulebook.summaries.money_losses import cost_of_losses
from tests.helpers.priced_studio import IDLE, NOW_MS, priced_studio


def test_what_losses_and_idle_draw_cost_by_hand(priced: tuple[Database, Site]) -> None:
    database, site = priced
    found = cost_of_losses(database, site, IDLE, now_ms=NOW_MS)
    assert found is not None
    assert (found["currency"], found["from"], found["to"]) == ("EUR", "2026-06-03", "2026-06-11")
    # As in the test of the priced time, eight days of 50 W.
    assert found["losses_wh"]["wh"] == pytest.approx(9600, rel=0.01)
    assert found["losses"]["amount"] == pytest.approx(8 * 0.050 * 2.2, rel=0.01)
    assert found["idle_year"]["amount"] == pytest.approx(50 * 8.76 * 2.2 / 24, rel=0.01)
    assert found["idle_year"]["low_amount"] < found["idle_year"]["amount"]
    # Half of the last day has no readings.
    assert found["losses"]["coverage_ratio"] == pytest.approx(8 / 8.5, rel=0.01)


def test_without_a_tariff_there_is_no_cost(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path, tariff_from=None)
    assert cost_of_losses(database, site, IDLE, now_ms=NOW_MS) is None


def test_before_the_tariff_begins_the_reason_is_told(tmp_path: Path) -> None:
    database, site = priced_studio(tmp_path, tariff_from=date(2027, 1, 1))
    found = cost_of_losses(database, site, IDLE, now_ms=NOW_MS)
    assert found is not None
    assert found["losses"]["amount"] is None
    assert "only 0% of the time" in found["losses"]["reason"]
