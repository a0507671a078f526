"""A tariff as rows of a table."""

from datetime import date

from joulebook.core.money.tariff import Tariff, clock_text
from joulebook.web.region import formats
from joulebook.web.words.money_sentences import exact


def terms_of(tariff: Tariff) -> list[tuple[str, str, str, str]]:
    """Return the rows of a version: season, hours and days, price bought, price sold."""
    rows = []
    for season in tariff.seasons:
        whole = season.first == (1, 1) and season.last == (12, 31)
        # Any leap year has every day that a season can begin or end on.
        first, last = (formats.day_of_year(date(2024, *end)) for end in (season.first, season.last))
        name = "All year" if whole else f"{first} to {last}"
        for band in season.bands:
            hours = f"{clock_text(band.from_minute)} to {clock_text(band.to_minute)}"
            days = "every day" if len(band.days) == 3 else " and ".join(band.days)
            rows.append(
                (
                    f"{season.name.capitalize()}, {name}" if season.name else name,
                    f"{hours}, {days}",
                    exact(band.import_price),
                    exact(band.export_price),
                )
            )
    return rows
