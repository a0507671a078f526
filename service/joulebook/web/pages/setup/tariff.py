"""What energy costs: the versions of a site's tariff, one more, and one that was wrong."""

from contextlib import closing

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from joulebook.core.spans import date_of
from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import transaction
from joulebook.storage.records import Site
from joulebook.storage.tariffs import (
    LONGEST_NOTE,
    TariffVersion,
    add_tariff,
    tariffs_of,
    withdraw_tariff,
)
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent
from joulebook.web.access.forms import Form
from joulebook.web.backing import Backing
from joulebook.web.pages.setup.showing import gone_to, shown_page
from joulebook.web.setup.tariff import (
    MOST_ROWS,
    labels_of,
    rows_shown,
    tariff_from,
)
from joulebook.web.sites import Backed
from joulebook.web.words.money_sentences import exact
from joulebook.web.words.setup_texts import (
    TARIFF_DAYS,
    TARIFF_DONE,
    TARIFF_LABELS,
    TARIFF_ROW_LABELS,
)
from joulebook.web.words.tariff_rows import terms_of

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/setup/tariff")


@router.get("")
def tariff_page(
    site: Owned, actor: Owner, backing: Backed, done: str | None = None
) -> HTMLResponse:
    """List the versions, with the form for one more."""
    return _page(backing, site, actor, Form(), done=TARIFF_DONE.get(done or ""))


@router.post("")
def add_version(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Add a version, or show the form with more rows."""
    now_ms = backing.clock_ms()
    if "more" in form.fields:
        return _page(backing, site, actor, form)
    wanted = tariff_from(form, date_of(now_ms, site.zone))
    note = form.text("note", most=LONGEST_NOTE)
    if wanted is None or form.errors:
        return _page(backing, site, actor, form)
    version = TariffVersion(id=0, tariff=wanted, note=note, made_ms=now_ms)
    try:
        with closing(backing.database.connect()) as connection, transaction(connection):
            added = add_tariff(connection, site, version)
            note_change(connection, _audited(site, actor, "add tariff", added, now_ms))
    except UsageError as error:
        form.refuse(error, error.where if error.where in TARIFF_LABELS else "")
        return _page(backing, site, actor, form)
    return gone_to(site, "/tariff", "added")


@router.post("/{number}/withdraw")
def withdraw(site: Owned, actor: Owner, number: int, _form: Sent, backing: Backed) -> Response:
    """Take a version back that was wrong."""
    now_ms = backing.clock_ms()
    with closing(backing.database.connect()) as connection, transaction(connection):
        gone = withdraw_tariff(connection, site, number, now_ms=now_ms)
        note_change(connection, _audited(site, actor, "withdraw tariff", gone, now_ms))
    return gone_to(site, "/tariff", "withdrawn")


def _audited(site: Site, actor: Actor, action: str, version: TariffVersion, at_ms: int) -> Audited:
    detail = f"{version.id}: from {version.tariff.from_day}, {version.tariff.currency}"
    return Audited(at_ms=at_ms, who=actor.name, site=site.name, action=action, detail=detail)


def _page(
    backing: Backing, site: Site, actor: Actor, form: Form, *, done: str | None = None
) -> HTMLResponse:
    with closing(backing.database.connect()) as connection:
        there = tariffs_of(connection, site.id, withdrawn=True)
    held = [each for each in there if each.withdrawn_ms is None]
    rows = rows_shown(form)
    return shown_page(
        *(backing, site, "tariff"),
        actor=actor,
        form=form,
        done=done,
        versions=held[::-1],
        withdrawn=[each for each in there if each.withdrawn_ms is not None],
        terms_of=terms_of,
        exact=exact,
        rows=rows,
        most_rows=MOST_ROWS,
        labels=TARIFF_LABELS,
        all_labels=labels_of(rows),
        row_labels=TARIFF_ROW_LABELS,
        day_words=list(TARIFF_DAYS.items()),
        now=_now(held),
        today=date_of(backing.clock_ms(), site.zone).isoformat(),
        with_rows=rows > rows_shown(Form()) or any(name.startswith("r1_") for name in form.errors),
    )


def _now(held: list[TariffVersion]) -> dict[str, str]:
    """Return what the form begins with: what the newest version says of currency and fees."""
    if not held:
        return {}
    newest = held[-1].tariff
    begun = {
        "currency": newest.currency,
        "fixed_per_day": str(newest.fixed_per_day),
        "fixed_per_month": str(newest.fixed_per_month),
    }
    bands = [band for season in newest.seasons for band in season.bands]
    if len(bands) == 1:
        begun |= {"import": str(bands[0].import_price), "export": str(bands[0].export_price)}
    return begun
