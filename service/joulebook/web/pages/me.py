"""One's own account: the password, and where one is signed in."""

from contextlib import closing
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.storage.passwords import LEAST_CHARACTERS, hash_password
from joulebook.storage.people import set_password
from joulebook.storage.sessions import close_sessions, sessions_of
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Sent
from joulebook.web.access.changes import noted_change
from joulebook.web.access.cookies import forget_session, keep_session
from joulebook.web.access.forms import Form
from joulebook.web.access.signing_in import begin_session, try_password
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.pages.welcome import chosen_password
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed
from joulebook.web.words import fault_texts as faults
from joulebook.web.words.people_texts import PASSWORD_DONE

router = APIRouter(include_in_schema=False, prefix="/people/me")


@router.get("")
def my_page(backing: Backed, actor: Asking, done: str = "") -> Response:
    """Show where one is signed in, and the form for another password."""
    if actor.person_id is None:
        return RedirectResponse("/people", 303)
    return _page(backing, actor, actor.person_id, Form(), done=PASSWORD_DONE.get(done))


@router.post("/password")
def change_password(request: Request, form: Sent, backing: Backed, actor: Asking) -> Response:
    """Keep another password; every session ends, and a new one begins here."""
    person_id = _person_id(actor)
    current = form.fields.pop("current", "")
    password = chosen_password(form, actor.name)
    if not form.errors:
        try:
            if try_password(backing, request, actor.name, current) is None:
                form.errors["current"] = faults.NOT_THE_PASSWORD
        except ProblemError as problem:
            form.errors["current"] = faults.too_many_attempts(problem.expected)
    if form.errors:
        return _page(backing, actor, person_id, form, status=422)
    kept = hash_password(password)
    with noted_change(backing, actor, "change password") as connection:
        set_password(connection, person_id, kept)
        secret = begin_session(connection, backing, request, person_id=person_id, was=actor)
    answer = RedirectResponse("/people/me?done=password", 303)
    keep_session(answer, secret, request, backing.rules)
    return answer


@router.post("/sign-out")
def sign_out_everywhere(request: Request, _form: Sent, backing: Backed, actor: Asking) -> Response:
    """End every session of the one who asks, this one too."""
    person_id = _person_id(actor)
    with noted_change(backing, actor, "sign out everywhere") as connection:
        close_sessions(connection, person_id)
    answer = RedirectResponse("/sign-in", 303)
    forget_session(answer, request, backing.rules)
    return answer


def _person_id(actor: Actor) -> int:
    if actor.person_id is None:
        raise ProblemError(
            403,
            "not-yours",
            f"{actor.name} has no account, and so no password and no session",
            where="your account",
            expected="somebody who is signed in",
            next_step="add yourself first",
            link="/people",
        )
    return actor.person_id


def _page(
    backing: Backing,
    actor: Actor,
    person_id: int,
    form: Form,
    *,
    status: int = 200,
    done: str | None = None,
) -> Response:
    with closing(backing.database.connect()) as connection:
        there = sessions_of(connection, person_id, now_ms=backing.clock_ms())
    page = backing.render(
        "me.html",
        form=form,
        sessions=there,
        this=actor.session_id,
        least=LEAST_CHARACTERS,
        zone=ZoneInfo("UTC"),
        done=done,
    )
    return HTMLResponse(page, status, {"Cache-Control": "no-store"})
