"""The evidence file: what is in it, made at the press of a button, fetched and deleted."""

from contextlib import closing
from typing import cast

from fastapi import APIRouter
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response

from joulebook.errors import UnavailableError
from joulebook.evidence import texts
from joulebook.evidence.file import PAPERS, Paper
from joulebook.evidence.shelf import MOST_FILES
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.records import Site
from joulebook.storage.seal_links import last_link
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent
from joulebook.web.access.forms import Form
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.pages.records import record_page
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed, Sited
from joulebook.web.words import fault_texts as faults

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/evidence")


@router.get("")
def evidence_page(site: Sited, actor: Asking, backing: Backed, done: str | None = None) -> Response:
    """Show what is in a file, and the files that were made."""
    return _page(backing, site, actor, Form(), done=done)


@router.post("")
def make_file(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Begin to make one."""
    paper = cast(Paper, form.choice("paper", PAPERS))
    now_ms = backing.clock_ms()
    if not form.errors:
        try:
            backing.shelf.start(site, paper, now_ms=now_ms)
        except UnavailableError as error:
            form.errors[""] = faults.refused_for_now(error.what, error.next_step)
    if form.errors:
        return _page(backing, site, actor, form)
    _note(backing, site, actor, "make evidence file", now_ms)
    return _back(site, "begun")


@router.get("/files/{name}")
def fetch_file(site: Sited, name: str, backing: Backed) -> Response:
    """Return a file."""
    path = backing.shelf.path_of(site, name)
    if path is None:
        raise _unknown(site, name)
    return FileResponse(path, media_type="application/zip", filename=name)


@router.post("/files/{name}/delete")
def delete_file(site: Owned, actor: Owner, name: str, _form: Sent, backing: Backed) -> Response:
    """Delete a file."""
    if not backing.shelf.delete(site, name):
        raise _unknown(site, name)
    _note(backing, site, actor, "delete evidence file", backing.clock_ms(), name)
    return _back(site, "deleted")


def _page(
    backing: Backing, site: Site, actor: Actor, form: Form, *, done: str | None = None
) -> HTMLResponse:
    with closing(backing.database.connect()) as connection:
        link = last_link(connection, site.id)
    page = record_page(
        backing,
        site,
        "evidence.html",
        current="evidence",
        actor=actor,
        form=form,
        done=done,
        may_change=actor.may_change(site.id),
        link=link,
        making=backing.shelf.is_making(site),
        failure=backing.shelf.failure(site),
        files=backing.shelf.files(site),
        most=MOST_FILES,
        papers=[("a4", "A4"), ("letter", "Letter")],
        steps=texts.how_to_check(),
        chain=texts.CHAIN,
        not_known=texts.NOT_KNOWN,
        no_advice=texts.NO_ADVICE,
    )
    return HTMLResponse(page, 422 if form.errors else 200)


def _note(
    backing: Backing, site: Site, actor: Actor, action: str, now_ms: int, detail: str = ""
) -> None:
    change = Audited(at_ms=now_ms, who=actor.name, site=site.name, action=action, detail=detail)
    with closing(backing.database.connect()) as connection:
        note_change(connection, change)


def _back(site: Site, done: str) -> Response:
    return RedirectResponse(f"/sites/{site.name}/evidence?done={done}", 303)


def _unknown(site: Site, name: str) -> ProblemError:
    return ProblemError(
        404,
        "not-found",
        f"there is no evidence file {name[:100]!r}",
        where=f"the evidence files of {site.name}",
        expected="one that the page lists",
        next_step="go back to the page",
        link=f"/sites/{site.name}/evidence",
    )
