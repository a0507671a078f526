"""The trend of a site, month by month."""

from contextlib import closing

from fastapi import APIRouter
from fastapi.responses import HTMLResponse

from joulebook.storage.quarantine import quarantine_count
from joulebook.summaries.windows import SUM_METHOD
from joulebook.web.sites import Backed, Sited
from joulebook.web.spans.noted import noted_since
from joulebook.web.words import texts
from joulebook.web.words.sentences import lead_of_months

router = APIRouter(include_in_schema=False)

_ENERGIES = ("pv_wh", "load_wh", "grid_import_wh", "grid_export_wh", "loss_wh")


@router.get("/sites/{site}/months")
def months_page(site: Sited, backing: Backed) -> HTMLResponse:
    """Show the months."""
    with closing(backing.database.connect()) as connection:
        set_aside = quarantine_count(connection, site.id)
    now_ms = backing.clock_ms()
    months = backing.analyses.months(site, now_ms=now_ms)
    page = backing.render(
        "months.html",
        site=site,
        set_aside=set_aside,
        current="months",
        months=months[::-1],
        noted=noted_since(backing.database, site, months[0].first, now_ms=now_ms) if months else [],
        lead=lead_of_months(site, months),
        energies=_ENERGIES,
        sum_method=SUM_METHOD,
        efficiency_workings=texts.EFFICIENCY_WORKINGS,
        data_dir=backing.database.data_dir,
    )
    return HTMLResponse(page)
