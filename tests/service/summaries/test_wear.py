from datetime import date

import pytest

from joulebook.summaries.wear import warranty_ends, wear_of
from joulebook.summaries.windows import Window
from tests.helpers.plants import site


@pytest.mark.parametrize(
    ("installed", "years", "ends"),
    [
        (date(2026, 6, 1), 10.0, date(2036, 6, 1)),
        (date(2024, 2, 29), 10.0, date(2034, 2, 28)),
        # Half a year of 365.25 days is 183 days after 1 June 2028.
        (date(2026, 6, 1), 2.5, date(2028, 12, 1)),
        (None, 10.0, None),
        (date(2026, 6, 1), None, None),
    ],
)
def test_a_warranty_ends_after_its_years(
    installed: date | None, years: float | None, ends: date | None
) -> None:
    assert warranty_ends(site(installed=installed, warranty_years=years)) == ends


def test_without_dates_the_warranty_says_what_is_missing() -> None:
    wear = wear_of([], site(), Window(None, None))
    assert wear.warranty_ends is None
    assert wear.warranty_reason == "installation date and warranty years were not entered"
