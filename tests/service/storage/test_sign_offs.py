import hashlib
import json
import sqlite3
from dataclasses import replace
from typing import Any, cast

import psycopg
import pytest

from joulebook.errors import UsageError
from joulebook.storage.catalogue import add_site
from joulebook.storage.database import Connection, Database
from joulebook.storage.records import Site
from joulebook.storage.sign_offs import (
    Role,
    SignOff,
    add_sign_off,
    keep_sign_off,
    sign_off_of,
    sign_offs_of,
)
from tests.helpers.databases import NOON_MS, undone

CONTENT = {"site": "studio", "checks": [{"verdict": "good", "sentence": "it is 20 °C"}]}


def signed(
    connection: Connection,
    site: Site,
    *,
    content: dict[str, Any] | None = None,
    at_ms: int = NOON_MS,
    name: str = "Ana Moura",
    role: str = "installer",
) -> SignOff:
    return add_sign_off(
        *(connection, site, content or CONTENT),
        at_ms=at_ms,
        who="ana",
        name=name,
        role=cast(Role, role),
    )


def test_what_was_signed_is_kept_with_its_hash(connection: Connection, site: Site) -> None:
    made = signed(connection, site)
    assert made.content() == {
        **CONTENT,
        "signed": {"at_ms": NOON_MS, "name": "Ana Moura", "role": "installer"},
    }
    # The hash is what anybody's program makes of the document's bytes (FIPS 180-4, SHA-256).
    assert made.sha256 == hashlib.sha256(made.document.encode("utf-8")).hexdigest()
    assert made.is_whole
    assert sign_offs_of(connection, site.id) == [made]
    assert sign_off_of(connection, site, made.id) == made


def test_the_same_content_is_the_same_document(connection: Connection, site: Site) -> None:
    first = signed(connection, site)
    second = signed(connection, site, content=dict(reversed(CONTENT.items())))
    assert second.document == first.document
    assert json.loads(first.document) == first.content()


def test_they_come_in_the_order_of_signing_and_by_site(
    database: Database, connection: Connection, site: Site
) -> None:
    annexe = add_site(database, "annexe", "Europe/Lisbon")
    late = signed(connection, site, at_ms=NOON_MS + 1, role="owner")
    early = signed(connection, site)
    assert sign_offs_of(connection, site.id) == [early, late]
    assert sign_offs_of(connection, annexe.id) == []
    with pytest.raises(UsageError, match="has no sign-off 1") as caught:
        sign_off_of(connection, annexe, 1)
    assert caught.value.expected == "a sign-off"
    with pytest.raises(UsageError) as caught:
        sign_off_of(connection, site, 9)
    assert caught.value.expected == f"one of {early.id}, {late.id}"


@pytest.mark.parametrize("column", ["document", "name", "at_ms"])
def test_nothing_in_it_can_be_edited(connection: Connection, site: Site, column: str) -> None:
    made = signed(connection, site)
    refused = (sqlite3.IntegrityError, psycopg.IntegrityError)
    with pytest.raises(refused, match="a sign-off is never edited"):
        connection.execute(f"UPDATE sign_offs SET {column} = ?", (7,))
    assert sign_offs_of(connection, site.id) == [made]


def test_a_document_that_was_changed_all_the_same_is_not_whole(
    connection: Connection, site: Site
) -> None:
    made = signed(connection, site)
    assert not replace(made, document=made.document.replace("good", "trouble")).is_whole


@pytest.mark.parametrize("name", ["", "  ", "x" * 81, "Ana\nMoura"])
def test_somebody_must_sign(connection: Connection, site: Site, name: str) -> None:
    with pytest.raises(UsageError, match="nobody signs"):
        signed(connection, site, name=name)
    assert sign_offs_of(connection, site.id) == []


def test_a_role_is_one_that_is_known(connection: Connection, site: Site) -> None:
    with pytest.raises(UsageError, match="no role 'neighbour'") as caught:
        signed(connection, site, role="neighbour")
    assert (caught.value.where, caught.value.expected) == ("role", "one of owner, installer")


def test_a_document_has_an_end(connection: Connection, site: Site) -> None:
    with pytest.raises(UsageError, match="too long"):
        signed(connection, site, content={"checks": "x" * 2_000_000})


def test_it_is_part_of_the_transaction_around_it(connection: Connection, site: Site) -> None:
    with undone(connection):
        signed(connection, site)
    assert sign_offs_of(connection, site.id) == []


@pytest.mark.parametrize("document", ["no json", "[]", "{}", '{"signed":{}}'])
def test_a_document_that_does_not_say_who_signed_is_not_kept(
    connection: Connection, site: Site, document: str
) -> None:
    sha256 = hashlib.sha256(document.encode()).hexdigest()
    there = signed(connection, site)
    with pytest.raises(UsageError, match="is not as it was signed"):
        keep_sign_off(connection, site, replace(there, document=document, sha256=sha256))
    assert keep_sign_off(connection, site, there) is False
    assert sign_offs_of(connection, site.id) == [there]
