from collections.abc import Iterator

import pytest

from joulebook.errors import UsageError
from joulebook.storage.audit import Audited, audit_log, note_change
from joulebook.storage.catalogue import add_site, site_named
from joulebook.storage.database import Connection, Database
from joulebook.storage.organisations import (
    Organisation,
    add_organisation,
    delete_organisation,
    organisation_named,
    organisations,
    place_site,
    sites_inside,
)
from joulebook.storage.people import (
    add_person,
    change_roles,
    change_roles_among,
    people,
)
from joulebook.storage.records import Site
from joulebook.storage.sessions import open_session, session_of
from joulebook.storage.tokens import (
    check_token,
    insert_token,
    revoke_token,
    tokens_of,
)


@pytest.fixture
def kiln(connection: Connection) -> Organisation:
    return add_organisation(connection, "Kiln  and Sun", now_ms=7)


def place(connection: Connection, site: Site, organisation: Organisation | None) -> None:
    place_site(connection, site, organisation, who="Ada", now_ms=9)


def roles(connection: Connection, name: str) -> tuple[object, object, object]:
    [one] = [each for each in people(connection) if each.name == name]
    return one.everywhere, one.inside, one.at


def seen(connection: Connection, person_id: int) -> tuple[object, object]:
    secret = open_session(connection, person_id, address="", agent="", now_ms=0)
    found = session_of(connection, secret, now_ms=1)
    assert found is not None
    return found.inside, found.at


def test_they_are_listed_by_name_with_how_many_sites_each_has(
    connection: Connection, kiln: Organisation, site: Site
) -> None:
    hay = add_organisation(connection, "Hay", now_ms=8)
    assert kiln.name == "Kiln and Sun"
    place(connection, site, kiln)
    assert organisations(connection) == [
        hay,
        Organisation(id=kiln.id, name="Kiln and Sun", made_ms=7, sites=1),
    ]
    assert organisation_named(connection, "KILN and sun").id == kiln.id


@pytest.mark.parametrize("name", ["", "a\tb\n\x07", "x" * 61, "kiln AND sun"])
def test_a_name_that_does_not_do(connection: Connection, kiln: Organisation, name: str) -> None:
    with pytest.raises(UsageError):
        add_organisation(connection, name, now_ms=8)
    assert [each.name for each in organisations(connection)] == [kiln.name]


def test_one_that_is_not_there(connection: Connection) -> None:
    with pytest.raises(UsageError, match="no organisation 'Kiln'") as none:
        organisation_named(connection, "Kiln")
    assert none.value.expected == "an organisation"
    add_organisation(connection, "Hay", now_ms=8)
    with pytest.raises(UsageError) as another:
        organisation_named(connection, "Kiln")
    assert another.value.expected == "one of Hay"


def test_a_role_in_it_counts_at_all_its_sites_also_those_added_later(
    database: Database, connection: Connection, kiln: Organisation, site: Site
) -> None:
    fin = add_person(connection, "Fin", now_ms=1, inside={kiln.id: "viewer"}, at={site.id: "owner"})
    assert fin.inside == {kiln.id: "viewer"}
    assert seen(connection, fin.id) == ({kiln.id: "viewer"}, {site.id: "owner"})
    barn = add_site(database, "barn", "UTC", organisation_id=kiln.id)
    place(connection, site, kiln)
    # Of what is said for the site and for the organisation, the more.
    assert seen(connection, fin.id)[1] == {site.id: "owner", barn.id: "viewer"}
    changed = change_roles(connection, fin, everywhere=None, inside={kiln.id: "owner"}, at={})
    assert people(connection) == [changed]
    assert seen(connection, fin.id)[1] == {site.id: "owner", barn.id: "owner"}
    assert sorted(sites_inside(connection, kiln.id)) == [site.id, barn.id]


def test_roles_elsewhere_stay_where_only_some_are_changed(
    database: Database, connection: Connection, kiln: Organisation, site: Site
) -> None:
    hay = add_organisation(connection, "Hay", now_ms=8)
    barn = add_site(database, "barn", "UTC")
    person = add_person(
        *(connection, "Fin"),
        now_ms=1,
        inside={kiln.id: "owner", hay.id: "viewer"},
        at={site.id: "owner", barn.id: "viewer"},
    )
    change_roles_among(
        *(connection, person),
        organisation_ids=[kiln.id],
        site_ids=[site.id],
        inside={},
        at={site.id: "viewer"},
    )
    assert roles(connection, "Fin") == (
        None,
        {hay.id: "viewer"},
        {site.id: "viewer", barn.id: "viewer"},
    )
    change_roles_among(connection, person, organisation_ids=[hay.id], site_ids=[], inside={}, at={})
    assert roles(connection, "Fin")[1] == {}


@pytest.fixture
def lines(connection: Connection) -> Iterator[list[Audited]]:
    """What is noted from here on, the latest first."""
    noted: list[Audited] = []
    before = len(audit_log(connection))
    yield noted
    assert audit_log(connection)[: len(noted)] == noted
    assert len(audit_log(connection)) == before + len(noted)


def test_both_are_told_where_a_site_goes_from_one_to_the_other(
    database: Database,
    connection: Connection,
    kiln: Organisation,
    site: Site,
    lines: list[Audited],
) -> None:
    hay = add_organisation(connection, "Hay", now_ms=8)
    place(connection, site, kiln)
    there = site_named(database, "studio")
    assert there.organisation_id == kiln.id
    place(connection, there, kiln)  # it is there already: nothing to note
    place(connection, there, hay)
    place(connection, site_named(database, "studio"), None)
    assert site_named(database, "studio").organisation_id is None
    into, out = "put site into organisation", "take site out of organisation"
    # Who loses it is not told who has it now.
    for action, number, detail in (
        (into, kiln.id, kiln.name),
        (out, kiln.id, ""),
        (into, hay.id, "Hay"),
        (out, hay.id, ""),
    ):
        change = Audited(
            at_ms=9,
            who="Ada",
            site="studio",
            action=action,
            detail=detail,
            organisation_id=number,
        )
        lines.insert(0, change)


def test_a_change_is_of_the_organisation_that_the_site_belongs_to_then(
    database: Database, connection: Connection, kiln: Organisation, site: Site
) -> None:
    def note(action: str, organisation_id: int | None = None) -> None:
        name = None if organisation_id else "studio"
        change = Audited(
            at_ms=1, who="Ada", site=name, action=action, organisation_id=organisation_id
        )
        note_change(connection, change)

    note("before")
    place(connection, site, kiln)
    note("inside")
    note("of people", kiln.id)
    place(connection, site_named(database, "studio"), None)
    note("after")
    found = [each.action for each in audit_log(connection, organisation_ids=[kiln.id])]
    assert found == [
        "take site out of organisation",
        "of people",
        "inside",
        "put site into organisation",
    ]
    assert audit_log(connection, organisation_ids=[]) == []
    assert len(audit_log(connection, site="studio")) == 5
    assert len(audit_log(connection)) == 6


def test_a_token_of_it_reads_and_does_nothing_else(
    database: Database, connection: Connection, kiln: Organisation, site: Site
) -> None:
    secret = insert_token(connection, None, "reader", scope="read", now_ms=1, organisation=kiln)
    insert_token(connection, site, "shed", scope="write", now_ms=1)
    grant = check_token(database, "reader", secret)
    assert grant is not None
    assert (grant.scope, grant.site_id, grant.organisation_id) == ("read", 0, kiln.id)
    [one] = tokens_of(connection, organisation_id=kiln.id)
    assert (one.name, one.site, one.organisation) == ("reader", None, kiln.name)
    with pytest.raises(UsageError, match="reads, and is for no single site"):
        insert_token(connection, None, "x", scope="metrics", now_ms=1, organisation=kiln)
    with pytest.raises(UsageError, match="reads, and is for no single site"):
        insert_token(connection, site, "x", scope="read", now_ms=1, organisation=kiln)
    with pytest.raises(UsageError, match="no token"):
        revoke_token(connection, tokens_of(connection)[1].id, now_ms=2, organisation_id=kiln.id)
    revoke_token(connection, one.id, now_ms=2, organisation_id=kiln.id)
    assert check_token(database, "reader", secret) is None


def test_what_it_let_in_is_out_when_it_is_deleted_and_its_sites_stay(
    database: Database, connection: Connection, kiln: Organisation, site: Site
) -> None:
    place(connection, site, kiln)
    fin = add_person(connection, "Fin", now_ms=1, inside={kiln.id: "owner"})
    secret = insert_token(connection, None, "reader", scope="read", now_ms=1, organisation=kiln)
    other = insert_token(connection, None, "house", scope="read", now_ms=1)
    delete_organisation(connection, kiln)
    assert organisations(connection) == []
    assert site_named(database, "studio").organisation_id is None
    assert seen(connection, fin.id) == ({}, {})
    # Not a token that reads everything: none at all.
    assert check_token(database, "reader", secret) is None
    assert check_token(database, "house", other) is not None


def test_a_number_is_never_given_again(connection: Connection, kiln: Organisation) -> None:
    # Or the next one would read what was noted of the one that is gone.
    delete_organisation(connection, kiln)
    assert add_organisation(connection, "Hay", now_ms=8).id > kiln.id
