"""A tariff as a document: what a file of TOML says, and what the database keeps as JSON.

``docs/tariff.md`` describes the form. Prices are decimal fractions and never pass through a
binary number: a file is read with ``parse_float=Decimal``, and JSON holds them as text.
"""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from decimal import Decimal, InvalidOperation
from typing import Any

from joulebook.core.money.tariff import DAY_KINDS, Band, DayKind, Season, Tariff, clock_text
from joulebook.core.money.tariff_checks import Fault, Place, TariffError, check_tariff

_KEYS = (
    *("currency", "from", "note", "fixed_per_day", "fixed_per_month", "listed_dates"),
    *("season", "band"),
)
_SEASON_KEYS = ("name", "first", "last", "band")
_BAND_KEYS = ("days", "from", "to", "import", "export")
_CLOCK = re.compile(r"(\d{2}):(\d{2})")
_MONTH_DAY = re.compile(r"(\d{2})-(\d{2})")


def tariff_of(document: Mapping[str, Any]) -> Tariff:
    """Return the tariff that a document says, checked.

    Raises
    ------
    TariffError
        With every fault that can be told at once.
    """
    reader = _Reader()
    tariff = reader.tariff(document)
    if reader.faults:
        raise TariffError(reader.faults)
    check_tariff(tariff)
    return tariff


def document_of(tariff: Tariff) -> dict[str, Any]:
    """Return the document of a tariff; `tariff_of` makes the same tariff of it."""
    return {
        "currency": tariff.currency,
        "from": tariff.from_day.isoformat(),
        "fixed_per_day": str(tariff.fixed_per_day),
        "fixed_per_month": str(tariff.fixed_per_month),
        "listed_dates": [day.isoformat() for day in tariff.listed_dates],
        "season": [
            {
                "name": season.name,
                "first": f"{season.first[0]:02d}-{season.first[1]:02d}",
                "last": f"{season.last[0]:02d}-{season.last[1]:02d}",
                "band": [
                    {
                        "days": list(band.days),
                        "from": clock_text(band.from_minute),
                        "to": clock_text(band.to_minute),
                        "import": str(band.import_price),
                        "export": str(band.export_price),
                    }
                    for band in season.bands
                ],
            }
            for season in tariff.seasons
        ],
    }


class _Reader:
    """Reads a document and notes every fault; what is wrong is replaced by something harmless."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def tariff(self, document: Mapping[str, Any]) -> Tariff:
        self._only((), document, _KEYS)
        # A file without seasons has its bands at the top, or prices alone: one season, one band.
        seasons = document.get("season")
        if seasons is None:
            seasons = [{"band": document.get("band", [])}]
        elif "band" in document:
            self._note(("band",), "bands beside seasons", "bands inside of each season")
        return Tariff(
            currency=self._text((), document, "currency"),
            from_day=self._day(("from",), document.get("from")),
            fixed_per_day=self._amount(("fixed_per_day",), document.get("fixed_per_day", 0)),
            fixed_per_month=self._amount(("fixed_per_month",), document.get("fixed_per_month", 0)),
            listed_dates=tuple(
                self._day(("listed_dates", number), each)
                for number, each in enumerate(self._list(("listed_dates",), document))
            ),
            seasons=tuple(
                self._season(("season", number), each)
                for number, each in enumerate(self._tables(("season",), seasons))
            ),
        )

    def _season(self, place: Place, table: Mapping[str, Any]) -> Season:
        self._only(place, table, _SEASON_KEYS)
        return Season(
            name=self._text(place, table, "name", ""),
            first=self._month_day((*place, "first"), table.get("first", "01-01")),
            last=self._month_day((*place, "last"), table.get("last", "12-31")),
            bands=tuple(
                self._band((*place, "band", number), each)
                for number, each in enumerate(self._tables((*place, "band"), table.get("band", [])))
            ),
        )

    def _band(self, place: Place, table: Mapping[str, Any]) -> Band:
        self._only(place, table, _BAND_KEYS)
        if "import" not in table:
            self._note((*place, "import"), "there is no price", "the price of a kWh bought")
        return Band(
            days=self._days((*place, "days"), table.get("days", list(DAY_KINDS))),
            from_minute=self._minute((*place, "from"), table.get("from", "00:00")),
            to_minute=self._minute((*place, "to"), table.get("to", "24:00")),
            import_price=self._amount((*place, "import"), table.get("import", 0)),
            export_price=self._amount((*place, "export"), table.get("export", 0)),
        )

    def _days(self, place: Place, named: Any) -> tuple[DayKind, ...]:
        kinds = [named] if isinstance(named, str) else named
        if not isinstance(kinds, list) or any(each not in DAY_KINDS for each in kinds):
            self._note(place, f"{named!r} are no days", "some of " + ", ".join(DAY_KINDS))
            return DAY_KINDS
        return tuple(kind for kind in DAY_KINDS if kind in kinds)

    def _minute(self, place: Place, text: Any) -> int:
        found = _CLOCK.fullmatch(text) if isinstance(text, str) else None
        if found is None or int(found[2]) > 59 or int(found[1]) * 60 + int(found[2]) > 1440:
            self._note(place, f"{text!r} is no time", 'a time such as "07:00", up to "24:00"')
            return 0
        return int(found[1]) * 60 + int(found[2])

    def _month_day(self, place: Place, text: Any) -> tuple[int, int]:
        found = _MONTH_DAY.fullmatch(text) if isinstance(text, str) else None
        if found is None:
            self._note(place, f"{text!r} is no month and day", 'such as "04-01"')
            return (1, 1)
        return (int(found[1]), int(found[2]))

    def _amount(self, place: Place, given: Any) -> Decimal:
        if isinstance(given, bool) or not isinstance(given, int | str | Decimal):
            self._note(place, f"{given!r} is no amount", "a number such as 0.31")
            return Decimal(0)
        try:
            amount = Decimal(given)
        except InvalidOperation:
            self._note(place, f"{given!r} is no amount", "a number such as 0.31")
            return Decimal(0)
        return amount

    def _day(self, place: Place, given: Any) -> date:
        # A date with a time is a kind of date to Python, and none here.
        if type(given) is date:
            return given
        try:
            if isinstance(given, str) and len(given) == 10:
                return date.fromisoformat(given)
        except ValueError:
            pass
        said = "there is no date" if given is None else f"{given!r} is no date"
        self._note(place, said, "a date such as 2026-01-01")
        return date(2000, 1, 1)

    def _text(
        self, place: Place, table: Mapping[str, Any], key: str, otherwise: str | None = None
    ) -> str:
        value = table.get(key, otherwise)
        if not isinstance(value, str):
            said = f"there is no {key}" if value is None else f"{value!r} is no text"
            self._note((*place, key), said, "a text in quotes")
            return "-"
        return value.strip()

    def _list(self, place: Place, table: Mapping[str, Any]) -> Sequence[Any]:
        given = table.get(str(place[-1]), [])
        if not isinstance(given, list):
            self._note(place, f"{given!r} is no list", "a list in square brackets")
            return []
        return given

    def _tables(self, place: Place, given: Any) -> Sequence[Mapping[str, Any]]:
        if not isinstance(given, list) or not all(isinstance(each, dict) for each in given):
            self._note(place, "this is no list of tables", f"tables such as [[{place[-1]}]]")
            return []
        return given

    def _only(self, place: Place, table: Mapping[str, Any], keys: Sequence[str]) -> None:
        for key in table:
            if key not in keys:
                self._note((*place, str(key)), "unknown key", "one of " + ", ".join(keys))

    def _note(self, place: Place, what: str, expected: str) -> None:
        self.faults.append(Fault(place, what, expected))
