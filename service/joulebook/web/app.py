"""The application: routes, middleware and what they stand on, put together."""

from collections.abc import Callable

from fastapi import FastAPI
from starlette.middleware.gzip import GZipMiddleware

from joulebook.core.curves import MAX_GAP_S
from joulebook.evidence.shelf import EvidenceShelf
from joulebook.ingest.throttle import Throttle
from joulebook.storage.database import Database
from joulebook.web.access.gate import Gate
from joulebook.web.access.rules import AccessRules
from joulebook.web.access.sharing import Seals, can_be_shared
from joulebook.web.analyses import Analyses
from joulebook.web.api import delivery, latest, operations, readings, reports
from joulebook.web.api import homes as homes_api
from joulebook.web.api.description import ABOUT, describe
from joulebook.web.assets import PLOTLY, Assets
from joulebook.web.backing import Backing, Inbox
from joulebook.web.door.limits import ActorLimits, Limits, WebLimits
from joulebook.web.door.security import HeadAsGet, SecurityHeaders, security_headers
from joulebook.web.frame import add_frame
from joulebook.web.navigation import entries_of
from joulebook.web.pages import (
    about,
    alert_forms,
    alerts,
    assets,
    audit,
    carry,
    checks,
    day,
    efficiency,
    evidence,
    figures,
    home,
    homes,
    me,
    money,
    months,
    nights,
    organisations,
    people,
    plan,
    quarantine,
    region,
    rehearsal,
    sharing,
    sign_in,
    tokens,
    warranty,
    watch,
    wear,
    week,
    welcome,
)
from joulebook.web.pages.setup.routes import router as setup_pages
from joulebook.web.problems import install_problem_handlers
from joulebook.web.region.reader import ReadersRegion
from joulebook.web.rendering import template_environment
from joulebook.web.spans.comparisons import Comparisons
from joulebook.web.watch.health import Health


def build_app(
    database: Database,
    *,
    clock_ms: Callable[[], int],
    health: Callable[[], Health],
    inbox: Inbox,
    wrote: Callable[[], None],
    version: str,
    max_gap_s: float = MAX_GAP_S,
    rules: AccessRules = AccessRules(),  # noqa: B008 - frozen
    guesses: Throttle | None = None,
    limits: WebLimits = WebLimits(),  # noqa: B008 - frozen
) -> FastAPI:
    """Return the application that serves pages, figures and the JSON API.

    Parameters
    ----------
    database : Database
        Open, and kept open by the caller for as long as the application serves.
    clock_ms : callable
        Returns now. [ms, UTC epoch]
    health : callable
        Returns how the service does; called by /readyz and /metrics.
    inbox : Inbox
        Where readings go that come by HTTP.
    wrote : callable
        Called after readings were written past the inbox, as a CSV file's are.
    version : str
        Of joulebook, for the footer and /metrics.
    max_gap_s : float
        No line between two readings bridges more. [s]
    rules : AccessRules
        What was decided about who gets in.
    guesses : Throttle, optional
        Who guesses at tokens, shared with the other door for readings.
    limits : WebLimits, optional
        How much is taken of an address, of somebody who is known, and in all.
    """
    own_assets = Assets()
    templates = template_environment(own_assets, version=version)
    add_frame(own_assets, templates)
    seals = Seals()
    headers = security_headers(own_assets.named(PLOTLY).content)
    templates.globals |= {"sealed": seals.sealed, "can_be_shared": can_be_shared}
    app = FastAPI(
        title="joulebook",
        version=version,
        description=ABOUT,
        openapi_url="/api/openapi.json",
        docs_url=None,  # it would load its scripts from elsewhere; ours is /api/docs
        redoc_url=None,
    )
    app.state.backing = Backing(
        database=database,
        clock_ms=clock_ms,
        health=health,
        inbox=inbox,
        wrote=wrote,
        version=version,
        analyses=Analyses(database, max_gap_s=max_gap_s),
        comparisons=Comparisons(database, max_gap_s=max_gap_s),
        assets=own_assets,
        templates=templates,
        rules=rules,
        seals=seals,
        security_headers=headers,
        shelf=EvidenceShelf(database, max_gap_s=max_gap_s),
    )
    for module in (latest, readings, delivery, reports, homes_api, operations, watch):
        app.include_router(module.router)
    for module in (
        assets,
        home,
        homes,
        about,
        region,
        week,
        day,
        months,
        efficiency,
        wear,
        nights,
        warranty,
    ):
        app.include_router(module.router)
    for module in (checks, carry, rehearsal, quarantine, figures):
        app.include_router(module.router)
    app.include_router(setup_pages)
    for module in (money, plan, evidence, alerts, alert_forms):
        app.include_router(module.router)
    for module in (sign_in, welcome, me, people, organisations, tokens, sharing, audit):
        app.include_router(module.router)
    templates.globals["navigation"] = entries_of(app.routes)
    describe(app)
    install_problem_handlers(app)
    # The last one added is the first to see a request.
    app.add_middleware(GZipMiddleware, minimum_size=1000, compresslevel=5)
    app.add_middleware(ActorLimits, limits=limits)
    app.add_middleware(Gate, guesses=guesses or Throttle())
    app.add_middleware(ReadersRegion)
    app.add_middleware(Limits, limits=limits)
    app.add_middleware(SecurityHeaders, headers=headers, secure=rules.secure)
    app.add_middleware(HeadAsGet)
    return app
