"""What an organisation's people see and change: all of their own, and nothing of the others'.

Two tenants in one service (see `tests.helpers.visitors`): in a file, where the program's own wall
stands alone, and on a server. What is sent changes something, so each test has its own service.
"""

import re
from collections.abc import Callable
from contextlib import closing

import pytest

from joulebook.storage.audit import audit_log
from joulebook.storage.catalogue import site_named
from joulebook.storage.organisations import Organisation, organisation_named
from joulebook.storage.people import add_person, change_roles
from joulebook.storage.tokens import tokens_of
from tests.helpers.pages import words_of
from tests.helpers.visitors import PASSWORD, Door, Visitor, link_in, person_of


@pytest.fixture
def door(opened: Callable[..., Door]) -> Door:
    return opened(tenants=True)


@pytest.fixture
def ada(door: Door) -> Visitor:
    return door.signed_in("Ada")


@pytest.fixture
def fin(door: Door) -> Visitor:
    """The owner of the organisation that the studio belongs to."""
    return door.signed_in("Fin")


def page(visitor: Visitor, path: str) -> str:
    answer = visitor.client.get(path)
    assert answer.status_code == 200, path
    return words_of(answer.text)


def organisation(door: Door, name: str = "Kiln and Sun") -> Organisation:
    with closing(door.database.connect()) as connection:
        return organisation_named(connection, name)


def noted(door: Door) -> tuple[str, str, str | None, str, int | None]:
    with closing(door.database.connect()) as connection:
        last = audit_log(connection)[0]
    return last.who, last.action, last.site, last.detail, last.organisation_id


def test_only_its_people_are_shown_and_only_what_they_may_do_in_it(
    door: Door, fin: Visitor
) -> None:
    with closing(door.database.connect()) as connection:
        both = organisation(door).id, organisation(door, "Hay and Sons").id
        add_person(connection, "Ivo", now_ms=1, inside=dict.fromkeys(both, "viewer"))
    told = page(fin, "/people")
    # Ben and Cleo have roles at the studio itself, which belongs to it.
    assert "5 people have an account here." in told
    assert "Fin owner of all of Kiln and Sun" in told
    assert "Ben owner of studio" in told
    assert "Ivo looks at all of Kiln and Sun, invited" in told
    for name in ("Ada", "Dan", "Eve", "Hana", "Hay", "barn"):
        assert re.search(rf"\b{name}\b", told) is None, name
    everybody = page(door.signed_in("Ada"), "/people")
    assert "Ivo looks at all of Hay and Sons, looks at all of Kiln and Sun" in everybody


def test_its_owner_adds_somebody_to_it_and_to_nothing_else(door: Door, fin: Visitor) -> None:
    kiln, hay = organisation(door).id, organisation(door, "Hay and Sons").id
    nothing = fin.post("/people", name="Rui", everywhere="owner", **{"site-barn": "owner"})
    assert nothing.status_code == 422
    assert "nothing that this person may do" in words_of(nothing.text)
    answer = fin.post(
        "/people",
        name="Rui",
        everywhere="owner",
        **{f"organisation-{kiln}": "viewer", f"organisation-{hay}": "owner", "site-barn": "owner"},
    )
    rui = person_of(door, "Rui")
    assert (rui.everywhere, rui.inside, rui.at) == (None, {kiln: "viewer"}, {})
    detail = "Rui: looks at all of Kiln and Sun"
    assert noted(door) == ("Fin", "add person", None, detail, kiln)
    his = door.browser()
    chosen = {"password": PASSWORD, "again": PASSWORD}
    assert his.post(link_in(answer.text), data=chosen).status_code == 303
    assert his.get("/sites/studio").status_code == 200
    assert his.get("/sites/barn").status_code == 404


def test_a_name_that_somebody_else_has_is_refused_and_no_more_is_told(fin: Visitor) -> None:
    answer = fin.post("/people", name="Hana", **{"site-studio": "viewer"})
    assert answer.status_code == 422
    assert "There is somebody called 'Hana' already" in words_of(answer.text)


def test_nobody_of_another_organisation_is_there(door: Door, fin: Visitor) -> None:
    for name in ("Ada", "Dan", "Hana"):
        number = person_of(door, name).id
        assert fin.client.get(f"/people/{number}").status_code == 404
        for below in ("", "/link", "/shut-out", "/let-in", "/sign-out"):
            assert fin.post(f"/people/{number}{below}").status_code == 404, below


def test_its_own_people_are_in_its_hands(door: Door, fin: Visitor) -> None:
    number, gil = person_of(door, "Gil").id, door.signed_in("Gil")
    assert "Looks at all of Kiln and Sun." in page(fin, f"/people/{number}")
    assert fin.post(f"/people/{number}/sign-out").status_code == 303
    assert gil.client.get("/sites/studio").status_code == 303
    assert fin.post(f"/people/{number}/shut-out").status_code == 303
    assert noted(door) == ("Fin", "shut out person", None, "Gil", organisation(door).id)
    assert fin.post(f"/people/{number}/let-in").status_code == 303
    assert link_in(fin.post(f"/people/{number}/link").text).startswith("/welcome/")
    assert fin.post(f"/people/{number}", **{"site-studio": "owner"}).status_code == 303
    assert (person_of(door, "Gil").inside, person_of(door, "Gil").at) == ({}, {1: "owner"})
    assert fin.post(f"/people/{number}").status_code == 422


def test_whose_hands_reach_elsewhere_keeps_his_account_and_what_he_may_do_there(
    door: Door, fin: Visitor
) -> None:
    kiln, hay = organisation(door).id, organisation(door, "Hay and Sons").id
    hana, eve = person_of(door, "Hana"), person_of(door, "Eve")
    with closing(door.database.connect()) as connection:
        change_roles(
            *(connection, hana),
            everywhere=None,
            inside={kiln: "viewer", hay: "owner"},
            at={door.barn.id: "owner"},
        )
        change_roles(connection, eve, everywhere="viewer", inside={kiln: "viewer"}, at={})
    for number in (hana.id, eve.id):
        told = page(fin, f"/people/{number}")
        assert "Looks at all of Kiln and Sun." in told
        assert "may do something elsewhere too" in told
        assert "Shut out" not in told
        # A link to choose a password would let him sign in as her.
        for below in ("/link", "/shut-out", "/let-in", "/sign-out"):
            answer = fin.post(f"/people/{number}{below}")
            assert (answer.status_code, "Hay" in answer.text) == (403, False)
    assert fin.post(f"/people/{hana.id}").headers["location"] == "/people"
    assert fin.post(f"/people/{eve.id}", **{"site-studio": "viewer"}).status_code == 303
    hana, eve = person_of(door, "Hana"), person_of(door, "Eve")
    assert (hana.inside, hana.at) == ({hay: "owner"}, {door.barn.id: "owner"})
    assert (eve.everywhere, eve.inside, eve.at) == ("viewer", {}, {door.studio.id: "viewer"})


def test_it_reads_of_its_own_changes_only(ada: Visitor, fin: Visitor) -> None:
    ada.post("/organisations", name="Third")
    for site in ("studio", "barn"):
        ada.post(f"/sites/{site}/setup/tokens", name=f"bridge-{site}", scope="write")
    fin.post("/people", name="Rui", **{"site-studio": "viewer"})
    told = page(fin, "/audit")
    assert "Fin : add person: Rui: looks at studio" in told
    assert "Ada : make token, at studio: bridge-studio" in told
    for name in ("barn", "Third", "Hay", "sign in"):
        assert name not in told
    assert "bridge-barn" in page(ada, "/audit")


def test_a_site_that_its_owner_adds_belongs_to_it(door: Door, fin: Visitor) -> None:
    assert "Belongs to" not in page(fin, "/setup/new-site")
    answer = fin.post(
        "/setup/new-site",
        name="shed",
        timezone="Europe/Lisbon",
        organisation=str(organisation(door, "Hay and Sons").id),
    )
    assert answer.status_code == 422
    answer = fin.post("/setup/new-site", name="shed", timezone="Europe/Lisbon")
    assert answer.headers["location"] == "/sites/shed/setup?done=added"
    kiln = organisation(door).id
    assert site_named(door.database, "shed").organisation_id == kiln
    assert noted(door) == ("Fin", "add site", "shed", "zone Europe/Lisbon", kiln)
    # With his next request he may see and change it, and Gil sees it.
    assert fin.client.get("/sites/shed/setup/site").status_code == 200
    assert door.signed_in("Gil").client.get("/sites/shed/setup/site").status_code == 403
    assert door.signed_in("Hana").client.get("/sites/shed").status_code == 404


def test_whoever_runs_the_house_says_where_a_new_site_belongs(door: Door, ada: Visitor) -> None:
    assert "Belongs to" in page(ada, "/setup/new-site")
    for name, of in (("shed", None), ("loft", organisation(door).id)):
        sent = {} if of is None else {"organisation": str(of)}
        ada.post("/setup/new-site", name=name, timezone="Europe/Lisbon", **sent)
        assert site_named(door.database, name).organisation_id == of


def test_lists_and_answers_name_its_own_sites_only(fin: Visitor) -> None:
    assert fin.client.get("/").headers["location"] == "/sites/studio"
    named = fin.client.get("/api/v1/sites").json()
    assert [each["name"] for each in named["sites"]] == ["studio"]
    missing = fin.client.get("/api/v1/sites/barn/latest", headers={"Accept": "application/json"})
    assert (missing.status_code, missing.json()["expected"]) == (404, "the name of a site: studio")
    for path in ("/homes", "/homes.csv", "/api/v1/homes"):
        answer = fin.client.get(path)
        assert (answer.status_code, "studio" in answer.text) == (200, True)
        assert "barn" not in answer.text
    assert fin.client.get("/quarantine").status_code == 403
    assert fin.client.get("/metrics").status_code == 403
    assert "problems" not in fin.client.get("/readyz").json()


def test_organisations_are_added_filled_and_deleted(door: Door, ada: Visitor) -> None:
    assert "Organisations, and what belongs to them" in page(ada, "/people")
    assert "Kiln and Sun 1 site" in page(ada, "/organisations")
    assert ada.post("/organisations", name="").status_code == 422
    assert ada.post("/organisations", name="hay AND sons").status_code == 422
    there = ada.post("/organisations", name="Third").headers["location"]
    number = organisation(door, "Third").id
    assert there == f"/organisations/{number}"
    assert noted(door)[1:4] == ("add organisation", None, "Third")
    assert "0 sites belong to it." in page(ada, there)
    assert ada.post(f"{there}/sites", site="nowhere").status_code == 422
    assert ada.post(f"{there}/sites", site="studio", out="yes").status_code == 422
    assert ada.post(f"{there}/sites", site="studio").headers["location"] == f"{there}?done=in"
    assert noted(door) == ("Ada", "put site into organisation", "studio", "Third", number)
    told = page(ada, f"{there}?done=in")
    assert "The site belongs to it now." in told
    assert "1 site belongs to it. " in told
    assert "studio" in told
    assert door.signed_in("Fin").client.get("/sites/studio").status_code == 404
    assert ada.post(f"{there}/sites", site="studio", out="yes").headers["location"].endswith("out")
    ada.post(f"{there}/sites", site="studio")
    assert ada.post(f"{there}/delete").headers["location"] == "/organisations"
    assert site_named(door.database, "studio").organisation_id is None
    assert ada.client.get(there).status_code == 404


def test_its_owner_is_shown_his_own_and_says_nothing_of_what_belongs_to_it(
    door: Door, fin: Visitor
) -> None:
    kiln, hay = organisation(door).id, organisation(door, "Hay and Sons").id
    told = page(fin, "/organisations")
    assert "Kiln and Sun 1 site" in told
    assert "Hay" not in told
    assert "Add an organisation" not in told
    assert "Delete" not in page(fin, f"/organisations/{kiln}")
    assert fin.client.get(f"/organisations/{hay}").status_code == 404
    for path in ("", f"/{kiln}/sites", f"/{kiln}/delete"):
        assert fin.post(f"/organisations{path}", name="x", site="barn").status_code == 403
    assert fin.post(f"/organisations/{hay}/tokens", name="x").status_code == 404


def test_its_owner_makes_a_token_that_reads_all_of_it_and_revokes_it(
    door: Door, fin: Visitor
) -> None:
    there = f"/organisations/{organisation(door).id}"
    assert fin.post(f"{there}/tokens", name="").status_code == 422
    assert fin.post(f"{there}/tokens", name="Not so").status_code == 422
    answer = fin.post(f"{there}/tokens", name="reader")
    assert answer.headers["cache-control"] == "no-store"
    detail = "reader, reads every site of Kiln and Sun"
    assert noted(door) == ("Fin", "make token", None, detail, organisation(door).id)
    program = door.program(link_in(answer.text))
    assert [each["name"] for each in program.get("/api/v1/sites").json()["sites"]] == ["studio"]
    fin.post("/setup/new-site", name="shed", timezone="UTC")
    assert len(program.get("/api/v1/sites").json()["sites"]) == 2
    assert program.get("/api/v1/sites/barn/latest").status_code == 404
    assert "reader not used yet" not in page(fin, there)
    assert "reader last used" in page(fin, there)
    with closing(door.database.connect()) as connection:
        [token] = tokens_of(connection, organisation_id=organisation(door).id)
    gone = fin.post(f"{there}/tokens/{token.id}/revoke")
    assert gone.headers["location"] == f"{there}?done=revoked"
    assert program.get("/api/v1/sites").status_code == 401
    assert fin.post(f"{there}/tokens/{token.id}/revoke").status_code == 422


def test_without_organisations_nothing_looks_different(opened: Callable[..., Door]) -> None:
    plain = opened().signed_in("Ada")
    for path in ("/people", "/people/2", "/people/me", "/setup/new-site", "/"):
        assert "rganisation" not in plain.client.get(path).text
    told = page(plain, "/organisations")
    assert "There is none, and none is needed" in told


def test_a_house_with_many_names_some_of_them(door: Door, ada: Visitor) -> None:
    there = f"/organisations/{organisation(door).id}"
    with closing(door.database.connect()) as connection:
        connection.executemany(
            "INSERT INTO sites (name, timezone, organisation_id) VALUES (?, 'UTC', ?)",
            [(f"home-{number:02}", organisation(door).id) for number in range(31)],
        )
    told = page(ada, there)
    assert "32 sites belong to it." in told
    assert "home-29" in told
    assert "home-30" not in told
    assert "And 2 more." in told
