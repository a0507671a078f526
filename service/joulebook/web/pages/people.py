"""Who may sign in, and what each may see and change.

Who runs the house is shown everybody. An owner of an organisation is shown those who may do
something in it, says what they may do in it, and has no power over what they may do elsewhere.
"""

from typing import Annotated, Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Path, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from joulebook.errors import UsageError
from joulebook.storage.database import Connection
from joulebook.storage.people import (
    Person,
    add_person,
    change_roles,
    change_roles_among,
    set_disabled,
)
from joulebook.storage.sessions import close_sessions
from joulebook.storage.welcomes import make_welcome
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Keeper, Sent
from joulebook.web.access.changes import noted_change
from joulebook.web.access.forms import Form
from joulebook.web.access.links import link_to
from joulebook.web.access.reach import Reach, people_in, reach_of
from joulebook.web.access.roles_form import (
    Roles,
    asked_roles,
    first_field,
    listed,
    roles_of,
    roles_words,
)
from joulebook.web.backing import Backing
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed
from joulebook.web.words.people_texts import (
    CHOICES,
    CHOICES_EVERYWHERE,
    CHOICES_INSIDE,
    PERSON_DONE,
)
from joulebook.web.words.secret_sentences import around_invitation

router = APIRouter(include_in_schema=False, prefix="/people")

Number = Annotated[int, Path(ge=1, le=2**53)]


@router.get("")
def people_page(backing: Backed, keeper: Keeper) -> Response:
    """Show everybody, and the form to add somebody."""
    return _list(backing, reach_of(backing, keeper), Form())


@router.post("")
def add(request: Request, keeper: Keeper, form: Sent, backing: Backed) -> Response:
    """Add somebody, and show the link that lets him in, once."""
    reach = reach_of(backing, keeper)
    name = form.text("name", most=40, needed=True)
    roles = asked_roles(form, reach)
    if form.errors:
        return _list(backing, reach, form, status=422)
    noted = _noted(reach, f"{name}: {roles_words(roles, reach)}")
    now_ms = backing.clock_ms()
    try:
        with noted_change(backing, keeper, "add person", **noted) as connection:
            person = add_person(
                *(connection, name),
                now_ms=now_ms,
                everywhere=roles.everywhere,
                inside=roles.inside,
                at=roles.at,
            )
            secret = make_welcome(connection, person.id, now_ms=now_ms)
    except UsageError as error:
        form.refuse(error, "name")
        return _list(backing, reach, form, status=422)
    return _invitation(backing, request, person, secret)


@router.get("/{number}")
def person_page(number: Number, backing: Backed, keeper: Keeper, done: str = "") -> Response:
    """Show one person, and what can be changed of him."""
    reach = reach_of(backing, keeper)
    return _one(backing, reach, _person(backing, reach, number), Form(), done=PERSON_DONE.get(done))


@router.post("/{number}")
def change(number: Number, keeper: Keeper, form: Sent, backing: Backed) -> Response:
    """Change what somebody may see and change."""
    reach = reach_of(backing, keeper)
    person = _person(backing, reach, number)
    roles = asked_roles(form, reach, leaves=not reach.holds(person))
    if form.errors:
        return _one(backing, reach, person, form, status=422)
    noted = _noted(reach, f"{person.name}: {roles_words(roles, reach)}")
    try:
        with noted_change(backing, keeper, "change person", **noted) as connection:
            _change(connection, reach, person, roles)
    except UsageError as error:
        form.refuse(error, first_field(reach))
        return _one(backing, reach, person, form, status=422)
    left = not roles.inside and not roles.at and not reach.everything
    return RedirectResponse("/people" if left else f"/people/{number}?done=changed", 303)


@router.post("/{number}/link")
def new_link(
    number: Number, request: Request, keeper: Keeper, _form: Sent, backing: Backed
) -> Response:
    """Make a link with which somebody chooses a password, and show it once."""
    reach, person = _held(backing, keeper, number)
    noted = _noted(reach, person.name)
    with noted_change(backing, keeper, "make a welcome link", **noted) as connection:
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
    reach, person = _held(backing, keeper, number)
    noted = _noted(reach, person.name)
    with noted_change(backing, keeper, "sign out person", **noted) as connection:
        close_sessions(connection, person.id)
    return RedirectResponse(f"/people/{number}?done=signed-out", 303)


def _disabled(number: int, form: Form, backing: Backing, keeper: Actor, *, action: str) -> Response:
    reach, person = _held(backing, keeper, number)
    out = action == "shut out person"
    try:
        with noted_change(backing, keeper, action, **_noted(reach, person.name)) as connection:
            disabled_ms = backing.clock_ms() if out else None
            set_disabled(connection, person, disabled_ms=disabled_ms)
    except UsageError as error:
        form.refuse(error)
        return _one(backing, reach, person, form, status=422)
    return RedirectResponse(f"/people/{number}?done={'shut-out' if out else 'let-in'}", 303)


def _change(connection: Connection, reach: Reach, person: Person, roles: Roles) -> None:
    if reach.everything:
        change_roles(
            *(connection, person),
            everywhere=roles.everywhere,
            inside=roles.inside,
            at=roles.at,
        )
        return
    change_roles_among(
        *(connection, person),
        organisation_ids=[each.id for each in reach.organisations],
        site_ids=[each.id for each in reach.sites],
        inside=roles.inside,
        at=roles.at,
    )


def _noted(reach: Reach, detail: str) -> dict[str, Any]:
    """Return what is noted of a change, and for whom: the organisation of the one who made it."""
    of = None if reach.everything else reach.organisations[0].id
    return {"detail": detail, "organisation_id": of}


def _person(backing: Backing, reach: Reach, number: int) -> Person:
    for person in people_in(backing, reach):
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


def _held(backing: Backing, keeper: Actor, number: int) -> tuple[Reach, Person]:
    """Return a person over whose account the one who asks has power, and how far he reaches."""
    reach = reach_of(backing, keeper)
    person = _person(backing, reach, number)
    if not reach.holds(person):
        raise ProblemError(
            403,
            "not-yours",
            f"{person.name} may do something elsewhere too, so the account is not yours",
            where="the person",
            expected="somebody who may do something in your organisation alone",
            next_step="say below what the person may do in yours, or ask who runs this joulebook",
            link=f"/people/{number}",
        )
    return reach, person


def _list(backing: Backing, reach: Reach, form: Form, *, status: int = 200) -> Response:
    everybody = people_in(backing, reach)
    page = backing.render(
        "people.html",
        form=form,
        reach=reach,
        listed=listed(reach, None),
        people=[(one, roles_words(roles_of(one), reach)) for one in everybody],
        choices=CHOICES,
        choices_inside=CHOICES_INSIDE,
        choices_everywhere=CHOICES_EVERYWHERE,
    )
    return HTMLResponse(page, status)


def _one(
    backing: Backing,
    reach: Reach,
    person: Person,
    form: Form,
    *,
    status: int = 200,
    done: str | None = None,
) -> Response:
    page = backing.render(
        "person.html",
        form=form,
        person=person,
        roles=roles_words(roles_of(person), reach),
        reach=reach,
        listed=listed(reach, person),
        holds=reach.holds(person),
        choices=CHOICES,
        choices_inside=CHOICES_INSIDE,
        choices_everywhere=CHOICES_EVERYWHERE,
        zone=ZoneInfo("UTC"),
        done=done,
    )
    return HTMLResponse(page, status)


def _invitation(backing: Backing, request: Request, person: Person, secret: str) -> Response:
    around = around_invitation(person.name)
    page = backing.render(
        "secret.html",
        title=around.title,
        lead=around.lead,
        secret=link_to(f"/welcome/{secret}", request, backing.rules),
        words=around.words,
        back=("/people", around.back),
    )
    return HTMLResponse(page, headers={"Cache-Control": "no-store"})
