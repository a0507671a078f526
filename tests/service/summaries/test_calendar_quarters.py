from datetime import date

from joulebook.summaries.calendar_quarters import CalendarQuarter, quarters_of


def test_quarters_are_whole_and_in_order() -> None:
    assert quarters_of(date(2025, 12, 31), date(2026, 4, 1)) == [
        CalendarQuarter("2025-Q4", date(2025, 10, 1), date(2025, 12, 31)),
        CalendarQuarter("2026-Q1", date(2026, 1, 1), date(2026, 3, 31)),
        CalendarQuarter("2026-Q2", date(2026, 4, 1), date(2026, 6, 30)),
    ]
    names = [each.name for each in quarters_of(date(2024, 1, 1), date(2025, 12, 31))]
    assert names == [f"{year}-Q{n}" for year in (2024, 2025) for n in (1, 2, 3, 4)]
