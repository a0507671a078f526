"""Sign-offs: the form, what was signed so far, and each as a page that prints."""

from contextlib import closing
from typing import cast

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, note_change
from joulebook.storage.connections import transaction
from joulebook.storage.records import Site
from joulebook.storage.sign_offs import (
    LONGEST_NAME,
    ROLES,
    Role,
    SignOff,
    add_sign_off,
    sign_off_of,
    sign_offs_of,
)
from joulebook.summaries.commissioning import (
    DECLARATION,
    commissioning_record,
    key_of,
    seen_hash,
    since_signed,
)
from joulebook.summaries.numbers import Document
from joulebook.web.access.actor import Actor
from joulebook.web.access.asking import Owned, Owner, Sent
from joulebook.web.access.forms import Form
from joulebook.web.access.who import Asking
from joulebook.web.backing import Backing
from joulebook.web.pages.records import has_readings
from joulebook.web.pages.setup.showing import gone_to, shown_page
from joulebook.web.problems import ProblemError
from joulebook.web.sites import Backed, Sited
from joulebook.web.words import fault_texts as faults
from joulebook.web.words.check_sentences import told_check
from joulebook.web.words.check_texts import VERDICTS
from joulebook.web.words.sign_off_sentences import (
    LABELS,
    ROLE_WORDS,
    difference_words,
    fact_rows,
    remark_field,
    verdict_counts,
)

router = APIRouter(include_in_schema=False, prefix="/sites/{site}/setup/sign-off")

_LONGEST_REMARK, _LONGEST_STATEMENT = 300, 1000


@router.get("")
def sign_off_page(
    site: Sited, actor: Asking, backing: Backed, done: str | None = None
) -> HTMLResponse:
    """List what was signed, with the form to sign now."""
    return _page(backing, site, actor, Form(), done=done)


@router.post("")
def sign(site: Owned, actor: Owner, form: Sent, backing: Backed) -> Response:
    """Keep a sign-off, if the checks still say what the one who signs has seen."""
    document = _checks(backing, site)
    checks = document["checks"]
    name = form.text("name", most=LONGEST_NAME, needed=True)
    role = cast(Role, form.choice("role", ROLES))
    statement = form.text("statement", most=_LONGEST_STATEMENT)
    remarks = _remarks(form, checks)
    if not checks:
        form.errors[""] = faults.NOTHING_TO_SIGN
    elif form.fields.get("seen") != seen_hash(checks):
        form.errors[""] = faults.CHECKS_CHANGED
    if not form.errors:
        record = commissioning_record(
            *(site, document), remarks=remarks, statement=statement, version=backing.version
        )
        if signed := _signed(backing, site, actor, form, record, name, role):
            return gone_to(site, f"/sign-off/{signed.id}", "signed")
    return _page(backing, site, actor, form)


@router.get("/{number}")
def signed_page(
    site: Sited, actor: Asking, number: int, backing: Backed, done: str | None = None
) -> HTMLResponse:
    """Show one as it was signed, and what has changed since."""
    with closing(backing.database.connect()) as connection:
        try:
            signed = sign_off_of(connection, site, number)
        except UsageError as error:
            raise ProblemError(
                404,
                "not-found",
                error.what,
                where="the address, after /sign-off/",
                expected=error.expected,
                next_step="choose one from the list",
                link=f"/sites/{site.name}/setup/sign-off",
            ) from error
        content = signed.content()
        since = since_signed(connection, site, content, _checks(backing, site))
    checks = content["checks"]["checks"]
    return shown_page(
        *(backing, site, "signed"),
        actor=actor,
        done=done,
        signed=signed,
        content=content,
        role=ROLE_WORDS[signed.role],
        counts=verdict_counts(checks),
        facts=fact_rows(content["facts"]),
        groups=[
            (
                verdict,
                word,
                [
                    (told_check(each), content["remarks"].get(key_of(each)))
                    for each in checks
                    if each["verdict"] == verdict
                ],
            )
            for verdict, (_, word) in VERDICTS.items()
        ],
        since=[difference_words(each) for each in since],
        now_ms=backing.clock_ms(),
    )


def _signed(
    backing: Backing,
    site: Site,
    actor: Actor,
    form: Form,
    record: Document,
    name: str,
    role: Role,
) -> SignOff | None:
    now_ms = backing.clock_ms()
    try:
        with closing(backing.database.connect()) as connection, transaction(connection):
            signed = add_sign_off(
                *(connection, site, record), at_ms=now_ms, who=actor.name, name=name, role=role
            )
            note_change(
                connection,
                Audited(
                    at_ms=now_ms,
                    who=actor.name,
                    site=site.name,
                    action="sign off",
                    detail=f"{name}, {role}: {verdict_counts(record['checks']['checks'])}",
                ),
            )
    except UsageError as error:
        form.refuse(error, error.where if error.where in LABELS else "")
        return None
    return signed


def _remarks(form: Form, checks: list[Document]) -> dict[str, str]:
    """Return what was said of checks; of each trouble something must be said."""
    remarks = {
        key_of(each): form.text(
            remark_field(each), most=_LONGEST_REMARK, needed=each["verdict"] == "trouble"
        )
        for each in checks
        if each["verdict"] != "good"
    }
    return {key: words for key, words in remarks.items() if words}


def _checks(backing: Backing, site: Site) -> Document:
    return backing.analyses.checks(site, now_ms=backing.clock_ms())


def _page(
    backing: Backing, site: Site, actor: Actor, form: Form, *, done: str | None = None
) -> HTMLResponse:
    with closing(backing.database.connect()) as connection:
        there = sign_offs_of(connection, site.id)
    checks = _checks(backing, site)["checks"] if has_readings(backing, site) else []
    told = [(remark_field(each), each["verdict"], told_check(each)) for each in checks]
    unclear = [(field, check) for field, verdict, check in told if verdict == "unclear"]
    return shown_page(
        *(backing, site, "sign_off"),
        actor=actor,
        form=form,
        done=done,
        there=[
            (each, ROLE_WORDS[each.role], verdict_counts(each.content()["checks"]["checks"]))
            for each in there[::-1]
        ],
        counts=verdict_counts(checks),
        trouble=[(field, check) for field, verdict, check in told if verdict == "trouble"],
        unclear=unclear,
        unclear_said=any(form.value(field) for field, _ in unclear),
        seen=seen_hash(checks),
        signable=bool(checks),
        roles=list(ROLE_WORDS.items()),
        declaration=DECLARATION,
        labels=LABELS | {field: check.title for field, _, check in told},
    )
