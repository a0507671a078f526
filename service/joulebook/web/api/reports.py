"""The reports of a site: days, efficiency, wear, loads and checks."""

from typing import Annotated, Any

from fastapi import APIRouter, Query

from joulebook.summaries.alerts_report import alerts_report
from joulebook.summaries.checks_report import checks_report
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.loads_report import loads_report
from joulebook.summaries.money_report import money_report
from joulebook.summaries.reports import days_report
from joulebook.summaries.wear_report import wear_report
from joulebook.web.access.who import Asking
from joulebook.web.asked import asked_days
from joulebook.web.sites import Backed, Sited, seen_sites

router = APIRouter(prefix="/api/v1", tags=["reports"])

From = Annotated[
    str | None,
    Query(alias="from", description="First local day, YYYY-MM-DD; the first there is if left out."),
]
To = Annotated[
    str | None,
    Query(alias="to", description="Last local day, included; the last there is if left out."),
]


@router.get("/sites")
def list_sites(backing: Backed, actor: Asking) -> dict[str, Any]:
    """List the sites that may be seen: name, IANA time zone, and what is known of the battery."""
    return {
        "sites": [
            {
                "name": site.name,
                "timezone": site.timezone,
                "battery_ah": site.battery_ah,
                "battery_cells": site.battery_cells,
            }
            for site in seen_sites(backing, actor)
        ]
    }


@router.get("/sites/{site}/days")
def days(site: Sited, backing: Backed, first: From = None, last: To = None) -> dict[str, Any]:
    """Give one entry a local day: energies [Wh], equivalent full cycles, hours and coverage."""
    return days_report(backing.database, site, *asked_days(first, last))


@router.get("/sites/{site}/efficiency")
def efficiency(site: Sited, backing: Backed, first: From = None, last: To = None) -> dict[str, Any]:
    """Give round trip, conversion [ratio] and idle draw [W] over the days, with 90 % intervals."""
    return efficiency_report(backing.database, site, *asked_days(first, last))


@router.get("/sites/{site}/wear")
def wear(site: Sited, backing: Backed, first: From = None, last: To = None) -> dict[str, Any]:
    """Give equivalent full cycles, and what is known of capacity, fade and warranty."""
    return wear_report(backing.database, site, *asked_days(first, last))


@router.get("/sites/{site}/loads")
def loads(site: Sited, backing: Backed, first: From = None, last: To = None) -> dict[str, Any]:
    """Give how long what is left lasts, the largest starts seen, and outages ridden through."""
    days = asked_days(first, last)
    return loads_report(backing.database, site, *days, now_ms=backing.clock_ms())


@router.get("/sites/{site}/checks")
def checks(site: Sited, backing: Backed, first: From = None, last: To = None) -> dict[str, Any]:
    """Give what the last days' readings say of wiring, signs, scales and clocks, check by check."""
    days = asked_days(first, last)
    return checks_report(backing.database, site, *days, now_ms=backing.clock_ms())


@router.get("/sites/{site}/money")
def money(site: Sited, backing: Backed, first: From = None, last: To = None) -> dict[str, Any]:
    """Give what energy cost by months and in twelve months, what was saved, what losses cost."""
    days = asked_days(first, last)
    now_ms = backing.clock_ms()
    if days == (None, None):
        return backing.analyses.money(site, now_ms=now_ms)
    efficiency = backing.analyses.efficiency(site)
    return money_report(backing.database, site, *days, efficiency=efficiency, now_ms=now_ms)


@router.get("/sites/{site}/alerts")
def alerts(site: Sited, backing: Backed) -> dict[str, Any]:
    """Give the alerts that are open, and those that were, the newest first."""
    return alerts_report(backing.database, site)
