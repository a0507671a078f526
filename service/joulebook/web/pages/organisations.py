"""Organisations: who looks after which homes, and the tokens that read all homes of one."""

from contextlib import closing
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.errors import UsageError
from joulebook.storage.catalogue import sites
from joulebook.storage.organisations import (
    LONGEST_NAME,
    Organisation,
    add_organisation,
    delete_organisation,
    place_site,
)
from joulebook.storage.tokens import insert_token, revoke_token, tokens_of
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Housekeeper, Keeper, Sent
from joulebook.web.access.changes import noted_change
from joulebook.web.access.forms import Form
from joulebook.web.access.reach import reach_of
from joulebook.web.backing import Backing
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed
from joulebook.web.words import fault_texts as faults
from joulebook.web.words.people_texts import ORGANISATION_DONE
from joulebook.web.words.secret_sentences import around_token_of

router = APIRouter(include_in_schema=False, prefix="/organisations")

#: So many sites are named; there may be thousands.
_MOST_NAMED = 30

Number = Annotated[int, Path(ge=1, le=2**53)]


@router.get("")
def organisations_page(backing: Backed, keeper: Keeper) -> Response:
    """Show the organisations: all, or those that he owns."""
    return _list(backing, keeper, Form())


@router.post("")
def add(keeper: Housekeeper, form: Sent, backing: Backed) -> Response:
    """Add an organisation."""
    name = form.text("name", most=LONGEST_NAME, needed=True)
    if form.errors:
        return _list(backing, keeper, form)
    try:
        with noted_change(backing, keeper, "add organisation", detail=name) as connection:
            made = add_organisation(connection, name, now_ms=backing.clock_ms())
    except UsageError as error:
        form.refuse(error, "name")
        return _list(backing, keeper, form)
    return RedirectResponse(f"/organisations/{made.id}", 303)


@router.get("/{number}")
def organisation_page(number: Number, backing: Backed, keeper: Keeper, done: str = "") -> Response:
    """Show one organisation."""
    return _one(
        backing, keeper, _found(backing, keeper, number), Form(), done=ORGANISATION_DONE.get(done)
    )


@router.post("/{number}/sites")
def place(number: Number, keeper: Housekeeper, form: Sent, backing: Backed) -> Response:
    """Let a site belong to an organisation; or, sent with ``out``, to none."""
    there = _found(backing, keeper, number)
    name, out = form.text("site", most=63, needed=True), form.ticked("out")
    site = next((each for each in sites(backing.database) if each.name == name), None)
    if site is None or (out and site.organisation_id != there.id):
        form.errors["site"] = faults.OF_THE_ORGANISATION if out else faults.OF_A_SITE
        return _one(backing, keeper, there, form)
    with closing(backing.database.connect()) as connection:
        to = None if out else there
        place_site(connection, site, to, who=keeper.name, now_ms=backing.clock_ms())
    return RedirectResponse(f"/organisations/{number}?done={'out' if out else 'in'}", 303)


@router.post("/{number}/tokens")
def make_token(number: Number, keeper: Keeper, form: Sent, backing: Backed) -> Response:
    """Make a token that reads every site of an organisation, and show its secret, once."""
    there = _found(backing, keeper, number)
    name = form.text("name", most=63, needed=True)
    if form.errors:
        return _one(backing, keeper, there, form)
    detail = f"{name}, reads every site of {there.name}"
    try:
        with noted_change(
            backing, keeper, "make token", detail=detail, organisation_id=there.id
        ) as connection:
            secret = insert_token(
                *(connection, None, name),
                scope="read",
                now_ms=backing.clock_ms(),
                organisation=there,
            )
    except UsageError as error:
        form.refuse(error, "name")
        return _one(backing, keeper, there, form)
    around = around_token_of(there.name, name)
    page = backing.render(
        "secret.html",
        title=around.title,
        lead=around.lead,
        secret=secret,
        words=around.words,
        back=(f"/organisations/{number}", around.back),
    )
    return HTMLResponse(page, headers={"Cache-Control": "no-store"})


@router.post("/{number}/tokens/{token}/revoke")
def revoke(number: Number, token: Number, keeper: Keeper, form: Sent, backing: Backed) -> Response:
    """Revoke a token of an organisation."""
    there = _found(backing, keeper, number)
    try:
        with noted_change(
            backing, keeper, "revoke token", detail=f"number {token}", organisation_id=there.id
        ) as connection:
            now_ms = backing.clock_ms()
            revoke_token(connection, token, now_ms=now_ms, organisation_id=there.id)
    except UsageError as error:
        form.refuse(error)
        return _one(backing, keeper, there, form)
    return RedirectResponse(f"/organisations/{number}?done=revoked", 303)


@router.post("/{number}/delete")
def delete(number: Number, keeper: Housekeeper, _form: Sent, backing: Backed) -> Response:
    """Delete an organisation; its sites stay and belong to none."""
    there = _found(backing, keeper, number)
    with noted_change(
        *(backing, keeper, "delete organisation"), detail=there.name, organisation_id=there.id
    ) as connection:
        delete_organisation(connection, there)
    return RedirectResponse("/organisations", 303)


def _found(backing: Backing, keeper: Actor, number: int) -> Organisation:
    for each in reach_of(backing, keeper).organisations:
        if each.id == number:
            return each
    raise ProblemError(
        404,
        "not-found",
        "there is no such organisation",
        where="the address, after /organisations/",
        expected="one of the list",
        next_step="look at the list of organisations",
        link="/organisations",
    )


def _list(backing: Backing, keeper: Actor, form: Form) -> Response:
    page = backing.render(
        "organisations.html",
        form=form,
        organisations=reach_of(backing, keeper).organisations,
        most=LONGEST_NAME,
    )
    return HTMLResponse(page, 422 if form.errors else 200)


def _one(
    backing: Backing,
    keeper: Actor,
    there: Organisation,
    form: Form,
    *,
    done: str | None = None,
) -> Response:
    with closing(backing.database.connect()) as connection:
        tokens = tokens_of(connection, organisation_id=there.id)
    named = [each.name for each in sites(backing.database) if each.organisation_id == there.id]
    page = backing.render(
        "organisation.html",
        form=form,
        organisation=there,
        names=named[:_MOST_NAMED],
        more=len(named) - _MOST_NAMED,
        tokens=[each for each in tokens if each.revoked_ms is None],
        runs_the_house=keeper.may_run_the_house(),
        zone=ZoneInfo("UTC"),
        done=done,
    )
    return HTMLResponse(page, 422 if form.errors else 200)
