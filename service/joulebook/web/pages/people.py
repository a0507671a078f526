"""Who may sign in, and what each may see and change."""

from contextlib import closing
from typing import Annotated
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.errors import UsageError
from joulebook.storage.catalogue import sites
from joulebook.storage.people import Person, add_person, change_roles, people, set_disabled
from joulebook.storage.sessions import close_sessions
from joulebook.storage.welcomes import make_welcome
from joulebook.web.access.asking import Keeper, Sent
from joulebook.web.access.changes import noted_change
from joulebook.web.access.forms import Form
from joulebook.web.access.links import link_to
from joulebook.web.access.roles_form import CHOICES, CHOICES_EVERYWHERE, asked_roles, roles_words
from joulebook.web.backing import Backing
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed

router = APIRouter(include_in_schema=False, prefix="/people")

_DONE = {
    "changed": "What this person may see and change holds from the next page on.",
    "shut-out": "This person is signed out everywhere and cannot sign in.",
    "let-in": "This person may sign in again.",
    "signed-out": "This person has to sign in again everywhere.",
}

Number = Annotated[int, Path(ge=1, le=2**53)]


@router.get("")
def people_page(backing: Backed, _keeper: Keeper) -> Response:
    """Show everybody, and the form to add somebody."""
    return _list(backing, Form())


@router.post("")
def add(request: Request, keeper: Keeper, form: Sent, backing: Backed) -> Response:
    """Add somebody, and show the link that lets him in, once."""
    known = sites(backing.database)
    name = form.text("name", most=40, needed=True)
    everywhere, at = asked_roles(form, known)
    if form.errors:
        return _list(backing, form, status=422)
    detail = f"{name}: {roles_words(everywhere, at, known)}"
    now_ms = backing.clock_ms()
    try:
        with noted_change(backing, keeper, "add person", detail=detail) as connection:
            person = add_person(connection, name, now_ms=now_ms, everywhere=everywhere, at=at)
            secret = make_welcome(connection, person.id, now_ms=now_ms)
    except UsageError as error:
        form.refuse(error, "name")
        return _list(backing, form, status=422)
    return _invitation(backing, request, person, secret)


@router.get("/{number}")
def person_page(number: Number, backing: Backed, _keeper: Keeper, done: str = "") -> Response:
    """Show one person, and what can be changed of him."""
    return _one(backing, _person(backing, number), Form(), done=_DONE.get(done))


@router.post("/{number}")
def change(number: Number, keeper: Keeper, form: Sent, backing: Backed) -> Response:
    """Change what somebody may see and change."""
    person, known = _person(backing, number), sites(backing.database)
    everywhere, at = asked_roles(form, known)
    if form.errors:
        return _one(backing, person, form, status=422)
    detail = f"{person.name}: {roles_words(everywhere, at, known)}"
    try:
        with noted_change(backing, keeper, "change person", detail=detail) as connection:
            change_roles(connection, person, everywhere=everywhere, at=at)
    except UsageError as error:
        form.refuse(error, "everywhere")
        return _one(backing, person, form, status=422)
    return RedirectResponse(f"/people/{number}?done=changed", 303)


@router.post("/{number}/link")
def new_link(
    number: Number, request: Request, keeper: Keeper, _form: Sent, backing: Backed
) -> Response:
    """Make a link with which somebody chooses a password, and show it once."""
    person = _person(backing, number)
    with noted_change(backing, keeper, "make a welcome link", detail=person.name) as connection:
        secret = make_welcome(connection, person.id, now_ms=backing.clock_ms())
    return _invitation(backing, request, person, secret)


@router.post("/{number}/shut-out")
def shut_out(number: Number, keeper: Keeper, form: Sent, backing: Backed) -> Response:
    """Shut somebody out."""
    return _disabled(number, form, backing, keeper, action="shut out person")


@router.post("/{number}/let-in")
def let_in(number: Number, keeper: Keeper, form: Sent, backing: Backed) -> Response:
    """Let somebody in again who was shut out."""
    return _disabled(number, form, backing, keeper, action="let in person")


@router.post("/{number}/sign-out")
def sign_out(number: Number, keeper: Keeper, _form: Sent, backing: Backed) -> Response:
    """Sign somebody out everywhere."""
    person = _person(backing, number)
    with noted_change(backing, keeper, "sign out person", detail=person.name) as connection:
        close_sessions(connection, person.id)
    return RedirectResponse(f"/people/{number}?done=signed-out", 303)


def _disabled(
    number: int, form: Form, backing: Backing, keeper: Keeper, *, action: str
) -> Response:
    person, out = _person(backing, number), action == "shut out person"
    try:
        with noted_change(backing, keeper, action, detail=person.name) as connection:
            disabled_ms = backing.clock_ms() if out else None
            set_disabled(connection, person, disabled_ms=disabled_ms)
    except UsageError as error:
        form.refuse(error)
        return _one(backing, person, form, status=422)
    return RedirectResponse(f"/people/{number}?done={'shut-out' if out else 'let-in'}", 303)


def _person(backing: Backing, number: int) -> Person:
    with closing(backing.database.connect()) as connection:
        for person in people(connection):
            if person.id == number:
                return person
    raise ProblemError(
        404,
        "not-found",
        "there is no such person",
        where="the address, after /people/",
        expected="somebody of the list",
        next_step="look at the list of people",
        link="/people",
    )


def _list(backing: Backing, form: Form, *, status: int = 200) -> Response:
    known = sites(backing.database)
    with closing(backing.database.connect()) as connection:
        everybody = people(connection)
    page = backing.render(
        "people.html",
        form=form,
        sites=known,
        people=[(one, roles_words(one.everywhere, one.at, known)) for one in everybody],
        choices=CHOICES,
        choices_everywhere=CHOICES_EVERYWHERE,
    )
    return HTMLResponse(page, status)


def _one(
    backing: Backing, person: Person, form: Form, *, status: int = 200, done: str | None = None
) -> Response:
    known = sites(backing.database)
    page = backing.render(
        "person.html",
        form=form,
        person=person,
        roles=roles_words(person.everywhere, person.at, known),
        sites=known,
        choices=CHOICES,
        choices_everywhere=CHOICES_EVERYWHERE,
        zone=ZoneInfo("UTC"),
        done=done,
    )
    return HTMLResponse(page, status)


def _invitation(backing: Backing, request: Request, person: Person, secret: str) -> Response:
    page = backing.render(
        "secret.html",
        title=f"A link for {person.name}",
        lead="Give this link to nobody else. It is good once, for a week.",
        secret=link_to(f"/welcome/{secret}", request, backing.rules),
        words=f"{person.name} opens it, chooses a password, and is signed in.",
        back=("/people", "To the list of people"),
    )
    return HTMLResponse(page, headers={"Cache-Control": "no-store"})
