from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.audit import audit_log
from joulebook.storage.catalogue import add_site
from joulebook.web.access import roles_form
from tests.helpers.pages import HOUSE, words_of
from tests.helpers.visitors import PASSWORD, Door, Visitor, link_in, opened_door, person_of


@pytest.fixture
def door(tmp_path: Path) -> Door:
    return opened_door(tmp_path)


@pytest.fixture
def ada(door: Door) -> Visitor:
    return door.signed_in("Ada")


def noted(door: Door) -> tuple[str, str, str]:
    with closing(door.database.connect()) as connection:
        last = audit_log(connection)[0]
    return last.who, last.action, last.detail


def test_everybody_is_listed_with_what_each_may_do(ada: Visitor) -> None:
    page = words_of(ada.client.get("/people").text)
    assert "5 people have an account here." in page
    assert "Ada owner of everything" in page
    assert "Ben owner of studio" in page
    assert "Dan looks at barn" in page
    assert "Eve looks at every site" in page


def test_somebody_is_added_by_a_link_that_is_shown_once(door: Door, ada: Visitor) -> None:
    answer = ada.post("/people", name="Rui Luz", everywhere="", **{"site-studio": "viewer"})
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"
    assert "A link for Rui Luz" in words_of(answer.text)
    link = link_in(answer.text)
    assert "invited and not come yet" in words_of(ada.client.get("/people").text)
    assert link not in ada.client.get("/people").text
    assert noted(door) == ("Ada", "add person", "Rui Luz: looks at studio")
    rui = door.browser()
    assert rui.post(link, data={"password": PASSWORD, "again": PASSWORD}).status_code == 303
    assert rui.get("/sites/studio").status_code == 200
    assert rui.get("/sites/barn").status_code == 404
    assert rui.get("/people").status_code == 403


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"name": "", "everywhere": "owner"}, "This is needed."),
        ({"name": "Rui"}, "nothing that this person may do"),
        ({"name": "Rui", "everywhere": "king"}, "One of"),
        ({"name": "ada", "everywhere": "viewer"}, "There is somebody called"),
        ({"name": "a<b", "everywhere": "viewer"}, "cannot be the name"),
    ],
)
def test_what_does_not_do_is_said_beside_its_field(
    ada: Visitor, fields: dict[str, str], said: str
) -> None:
    answer = ada.post("/people", **fields)
    assert answer.status_code == 422
    assert said in words_of(answer.text)
    assert "5 people" in words_of(ada.client.get("/people").text)


def test_what_somebody_may_do_changes_with_his_next_request(door: Door, ada: Visitor) -> None:
    ben, number = door.signed_in("Ben"), person_of(door, "Ben").id
    page = ada.client.get(f"/people/{number}").text
    assert "Owner of studio." in words_of(page)
    answer = ada.post(f"/people/{number}", **{"site-barn": "viewer"})
    assert answer.headers["location"] == f"/people/{number}?done=changed"
    done = words_of(ada.client.get(answer.headers["location"]).text)
    assert "holds from the next page on" in done
    assert noted(door) == ("Ada", "change person", "Ben: looks at barn")
    assert ben.client.get("/sites/studio").status_code == 404
    assert ben.client.get("/sites/barn").status_code == 200
    assert ada.post(f"/people/{number}").status_code == 422
    assert person_of(door, "Ben").at == {door.barn.id: "viewer"}


def test_the_only_owner_stays(door: Door, ada: Visitor) -> None:
    number = person_of(door, "Ada").id
    for answer in (
        ada.post(f"/people/{number}", everywhere="viewer"),
        ada.post(f"/people/{number}/shut-out"),
    ):
        assert answer.status_code == 422
        assert "the only owner of every site" in words_of(answer.text)
    assert person_of(door, "Ada").everywhere == "owner"


def test_somebody_is_shut_out_at_once_and_let_in_again(door: Door, ada: Visitor) -> None:
    ben, number = door.signed_in("Ben"), person_of(door, "Ben").id
    assert ada.post(f"/people/{number}/shut-out").status_code == 303
    assert noted(door)[1:] == ("shut out person", "Ben")
    assert ben.client.get("/sites/studio").status_code == 303
    signing = {"name": "Ben", "password": PASSWORD}
    assert door.browser().post("/sign-in", data=signing).status_code == 403
    page = words_of(ada.client.get(f"/people/{number}?done=shut-out").text)
    assert "shut out Wednesday" in page or "shut out" in page
    assert "Let in again" in page
    assert ada.post(f"/people/{number}/let-in").status_code == 303
    assert noted(door)[1:] == ("let in person", "Ben")
    assert door.browser().post("/sign-in", data=signing).status_code == 303


def test_somebody_is_signed_out_everywhere(door: Door, ada: Visitor) -> None:
    ben, number = door.signed_in("Ben"), person_of(door, "Ben").id
    answer = ada.post(f"/people/{number}/sign-out")
    assert answer.headers["location"] == f"/people/{number}?done=signed-out"
    assert noted(door)[1:] == ("sign out person", "Ben")
    assert ben.client.get("/sites/studio").status_code == 303


def test_somebody_gets_a_new_link_for_a_password(door: Door, ada: Visitor) -> None:
    number = person_of(door, "Cleo").id
    link = link_in(ada.post(f"/people/{number}/link").text)
    assert noted(door)[1:] == ("make a welcome link", "Cleo")
    new = {"password": "another four words here", "again": "another four words here"}
    assert door.browser().post(link, data=new).status_code == 303
    signing = {"name": "Cleo", "password": new["password"]}
    assert door.browser().post("/sign-in", data=signing).status_code == 303


def test_nobody_of_that_number(ada: Visitor) -> None:
    assert ada.client.get("/people/99").status_code == 404
    assert ada.post("/people/99/shut-out").status_code == 404
    assert ada.client.get("/people/0").status_code == 422
    assert ada.client.get("/people/99999999999999999999").status_code == 422


def test_before_there_is_an_owner_this_machine_may_add_one(tmp_path: Path) -> None:
    door = opened_door(tmp_path / "bare", owned=False)
    house = door.browser(at="127.0.0.1", base=HOUSE)
    assert "Nobody has an account yet." in words_of(house.get("/people").text)
    answer = house.post("/people", data={"name": "Ada", "everywhere": "owner"})
    assert link_in(answer.text).startswith("/welcome/")
    assert noted(door)[0] == "this machine"
    assert "1 person has an account here." in words_of(house.get("/people").text)


@pytest.fixture
def many(door: Door) -> Door:
    for number in range(roles_form.MOST_LISTED):
        add_site(door.database, f"home-{number:02d}", "Europe/Lisbon")
    return door


def test_of_many_sites_one_is_named_and_those_stand_there_where_something_is_said(
    many: Door, ada: Visitor
) -> None:
    number = person_of(many, "Ben").id
    page = ada.client.get(f"/people/{number}").text
    assert 'name="site-studio"' in page
    assert 'name="site-barn"' not in page
    assert "home-07" not in page
    assert "At another site" in words_of(page)
    said = {"site-studio": "owner", "site": "home-07", "site-role": "viewer"}
    assert ada.post(f"/people/{number}", **said).status_code == 303
    assert noted(many)[2] == "Ben: looks at home-07, owner of studio"
    assert 'name="site-home-07"' in ada.client.get(f"/people/{number}").text
    # And taken back as ever.
    assert ada.post(f"/people/{number}", **{"site-studio": "owner"}).status_code == 303
    assert noted(many)[2] == "Ben: owner of studio"


@pytest.mark.usefixtures("many")
@pytest.mark.parametrize(
    ("said", "told"),
    [
        ({"site": "attic", "site-role": "viewer"}, "The name of a site."),
        ({"site": "home-07"}, "Say what this person may do there."),
        ({"site-role": "viewer"}, "There is nothing that this person may do."),
    ],
)
def test_a_site_that_is_named_is_there_and_something_may_be_done_at_it(
    ada: Visitor, said: dict[str, str], told: str
) -> None:
    answer = ada.post("/people", name="Rui", **said)
    assert answer.status_code == 422
    assert told in words_of(answer.text)


def test_few_sites_are_all_listed(ada: Visitor) -> None:
    page = ada.client.get("/people").text
    assert 'name="site-barn"' in page
    assert "At another site" not in words_of(page)
