"""The one page behind a welcome link: choose a password, and come in."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from typing import Annotated

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse, Response

from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.database import Connection, transaction
from joulebook.storage.narrowing import Narrowing, narrowed
from joulebook.storage.passwords import LEAST_CHARACTERS, check_password, hash_password
from joulebook.storage.secrets import hash_of
from joulebook.storage.welcomes import Welcome, use_welcome, welcome_of
from joulebook.web.access.asking import Sent
from joulebook.web.access.forms import Form
from joulebook.web.access.signing_in import signed_in
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed
from joulebook.web.words import fault_texts as faults

router = APIRouter(include_in_schema=False, prefix="/welcome")

Secret = Annotated[str, Path()]


@router.get("/{secret}")
def welcome_page(secret: Secret, backing: Backed) -> Response:
    """Ask somebody who was invited to choose a password; looking uses nothing up."""
    return _page(backing, Form(), secret, _welcome(backing, secret))


@router.post("/{secret}")
def come_in(
    secret: Secret, request: Request, form: Sent, backing: Backed, actor: Asking
) -> Response:
    """Keep the password, and begin a session."""
    welcome = _welcome(backing, secret)
    name = welcome.person.name if welcome.person else form.text("name", most=40, needed=True)
    password = chosen_password(form, name)
    if form.errors:
        return _page(backing, form, secret, welcome, status=422)
    kept = hash_password(password)
    try:
        with _opened(backing, secret) as connection, transaction(connection):
            now_ms = backing.clock_ms()
            person = use_welcome(connection, secret, name=name, kept=kept, now_ms=now_ms)
            note_change(
                connection,
                Audited(at_ms=now_ms, who=person.name, site=None, action="choose a password"),
            )
    except UsageError as error:
        form.refuse(error, "name" if error.where == "name" else "")
        return _page(backing, form, secret, welcome, status=422)
    return signed_in(backing, request, person_id=person.id, name=person.name, was=actor, to="/")


def chosen_password(form: Form, name: str) -> str:
    """Return the password that a form gives twice, its faults noted; it is never shown again."""
    password, again = form.fields.pop("password", ""), form.fields.pop("again", "")
    try:
        check_password(password, name)
    except UsageError as error:
        form.refuse(error, "password")
    if password != again:
        form.errors["again"] = faults.NOT_THE_SAME
    return password


@contextmanager
def _opened(backing: Backing, secret: str) -> Iterator[Connection]:
    """Give a connection that sees the link of a secret, and the account that it opens."""
    whose = Narrowing(welcome=hash_of(secret))
    with narrowed(whose), closing(backing.database.connect()) as connection:
        yield connection


def _welcome(backing: Backing, secret: str) -> Welcome:
    with _opened(backing, secret) as connection:
        welcome = welcome_of(connection, secret, now_ms=backing.clock_ms())
    if welcome is None:
        raise ProblemError(
            404,
            "not-found",
            "this link is good no longer",
            where="the address",
            expected="a welcome link that was not used yet and is at most some days old",
            next_step="sign in if you chose a password; else ask for a new link",
            link="/sign-in",
        )
    return welcome


def _page(
    backing: Backing, form: Form, secret: str, welcome: Welcome, *, status: int = 200
) -> Response:
    page = backing.render(
        "welcome.html",
        form=form,
        address=f"/welcome/{secret}",
        person=welcome.person,
        least=LEAST_CHARACTERS,
    )
    return HTMLResponse(page, status, {"Cache-Control": "no-store"})
