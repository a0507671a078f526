from datetime import date

import pytest

from joulebook.summaries.warranty import warranty_of, years_after
from tests.helpers.plants import site


@pytest.mark.parametrize(
    ("begins", "years", "ends"),
    [
        (date(2026, 6, 1), 10.0, date(2036, 6, 1)),
        (date(2024, 2, 29), 10.0, date(2034, 2, 28)),
        # Half a year of 365.25 days is 183 days after 1 June 2028.
        (date(2026, 6, 1), 2.5, date(2028, 12, 1)),
    ],
)
def test_a_warranty_ends_after_its_years(begins: date, years: float, ends: date) -> None:
    assert years_after(begins, years) == ends


def test_what_the_owner_entered_is_what_counts() -> None:
    entered = site(
        installed=date(2026, 6, 1),
        warranty_years=8.0,
        warranty_floor_ratio=0.6,
        warranty_throughput_wh=3e7,
    )
    found = warranty_of(entered, date(2027, 1, 1))
    assert (found.begins, found.ends) == (date(2026, 6, 1), date(2034, 6, 1))
    assert (found.floor_ratio, found.throughput_wh, found.assumed) == (0.6, 3e7, ())
    terms = found.terms(entered)
    assert terms.floor_ratio == 0.6
    # 2034-06-01T05:00Z, midnight in Chicago.
    assert terms.end_ms == 2_032_750_800_000


def test_what_he_did_not_enter_is_assumed_aloud() -> None:
    found = warranty_of(
        site(installed=None, warranty_years=None, warranty_floor_ratio=None), date(2026, 3, 2)
    )
    assert (found.begins, found.ends) == (date(2026, 3, 2), date(2036, 3, 2))
    assert (found.floor_ratio, found.throughput_wh) == (0.7, None)
    assert found.assumed == (
        "the battery is taken to have first run on 2026-03-02, the first reading",
        "10 years are assumed",
        "a floor of 70% of the rated charge is assumed",
    )
