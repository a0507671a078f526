"""The nights behind the capacity: the newest, those of a year, and all of them as a file."""

import csv
import io
from collections.abc import Sequence
from datetime import date

from fastapi import APIRouter
from fastapi.responses import Response

from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.summaries.page_documents import Night
from joulebook.web.backing import Backing
from joulebook.web.problems import ProblemError
from joulebook.web.region import formats
from joulebook.web.shown import AMPERE_HOURS, Shown, shown
from joulebook.web.sites import Backed, Sited

router = APIRouter(include_in_schema=False)

#: So many are shown before a year is chosen.
NEWEST = 30


@router.get("/sites/{site}/wear/nights.csv")
def nights_file(site: Sited, backing: Backed) -> Response:
    """Return every night as a table, one a row, in order."""
    columns = Night.__struct_fields__
    text = io.StringIO()
    rows = csv.writer(text, lineterminator="\r\n")
    rows.writerow(columns)
    for night in backing.analyses.nights(site):
        rows.writerow([_cell(getattr(night, name)) for name in columns])
    name = f"{site.name}-nights.csv"
    return Response(
        text.getvalue(),
        media_type="text/csv; charset=utf-8; header=present",
        headers={"Content-Disposition": f'attachment; filename="{name}"'},
    )


def _cell(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    return "" if value is None else value


def night_lists(
    backing: Backing, site: Site, wear: Document, *, asked: str | None
) -> dict[str, object]:
    """Return the nights that count and those that do not, the newest first, as a template takes it.

    Parameters
    ----------
    asked : str or None
        The year whose nights are wanted; the newest ones of all where none is named.
    """
    if "nights" not in wear:
        return {"counting_count": 0, "other_count": 0}
    years = wear["nights"]["years"][::-1]
    year = None if asked is None else _asked_year(asked, [each["year"] for each in years], site)
    nights = [each for each in reversed(backing.analyses.nights(site)) if year in (None, each.year)]
    counting = [each for each in nights if each.counts]
    others = [each for each in nights if not each.counts]
    limit = NEWEST if year is None else len(nights)
    return {
        "counting": counting[:limit],
        "others": others[:limit],
        "counting_count": len(counting),
        "other_count": len(others),
        "night_year": year,
        "night_years": years,
        "night_quarters": _quarters(wear["nights"]["quarters"]),
    }


def _asked_year(text: str, years: Sequence[int], site: Site) -> int:
    if text not in {str(year) for year in years}:
        raise ProblemError(
            404,
            "not-found",
            f"the record of {site.name} has no nights of {text[:40]!r}",
            where="query parameter 'nights'",
            expected=f"one of {', '.join(map(str, years)) or 'none yet'}",
            next_step="leave it out for the newest",
            link=f"/sites/{site.name}/wear",
        )
    return int(text)


def _quarters(quarters: Sequence[Document]) -> list[tuple[str, int, Shown]]:
    """Return the quarters' medians, the newest first."""
    return [
        (
            formats.quarter(date.fromisoformat(each["from"])),
            each["nights"],
            shown("median", each, "ah", AMPERE_HOURS),
        )
        for each in quarters
    ][::-1]
