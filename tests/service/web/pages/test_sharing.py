import re
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.audit import audit_log
from tests.helpers.databases import write
from tests.helpers.pages import outline, words_of
from tests.helpers.visitors import DAY_MS, Door, Visitor, link_in, opened_door

PAGE = "/sites/studio/shares"


@pytest.fixture
def door(tmp_path: Path) -> Door:
    door = opened_door(tmp_path)
    with closing(door.database.connect()) as connection:
        rows = {door.clock[0] - each * 1000: {"power": 1500.0} for each in range(1, 100)}
        write(connection, door.studio, "pv", rows)
    return door


@pytest.fixture
def ben(door: Door) -> Visitor:
    return door.signed_in("Ben")


def shared(ben: Visitor, page: str = "/sites/studio?week=2026-W10", days: str = "7") -> str:
    return link_in(ben.post(PAGE, page=page, days=days).text)


def test_a_page_offers_to_be_shared_to_those_who_may(door: Door, ben: Visitor) -> None:
    offered = "/sites/studio/shares?page=/sites/studio%3Fweek%3D2026-W10"
    assert offered in ben.client.get("/sites/studio?week=2026-W10").text
    assert "Share this page" not in door.signed_in("Cleo").client.get("/sites/studio").text
    assert "Share this page" not in ben.client.get("/sites/studio/quarantine").text
    assert "Share this page" not in ben.client.get("/about").text
    page = ben.client.get(offered).text
    assert 'value="/sites/studio?week=2026-W10"' in page


def test_whoever_has_the_link_sees_that_page_with_its_pictures_and_nothing_else(
    door: Door, ben: Visitor
) -> None:
    link, stranger = shared(ben), door.browser()
    page = stranger.get(link)
    assert page.status_code == 200
    assert "This one page is shared with you" in words_of(page.text)
    assert "Share this page" not in words_of(page.text)
    assert not [
        each for each in outline(page.text).named("nav") if each.get("aria-label") == "studio"
    ]
    figures = re.findall(r'data-figure="([^"]+)"', page.text)
    live = re.findall(r'data-live="([^"]+)"', page.text)
    assert figures
    assert live
    for address in (*figures, *live):
        address = address.replace("&amp;", "&")
        # As the page's script asks for it.
        mark = "&" if "?" in address else "?"
        assert stranger.get(f"{address}{mark}scheme=dark&width=358").status_code == 200
        assert stranger.get(address.partition("?")[0]).status_code in (303, 401)
    for other in ("/sites/studio", "/sites/studio/wear", "/api/v1/sites/studio/days", "/"):
        assert stranger.get(other).status_code in (303, 401)


def test_a_seal_is_good_for_its_own_address_alone(door: Door, ben: Visitor) -> None:
    link, stranger = shared(ben), door.browser()
    [figure] = re.findall(r'data-figure="([^"]+)"', stranger.get(link).text)
    path, _, query = figure.replace("&amp;", "&").partition("?")
    seal = query.partition("seal=")[2]
    assert stranger.get(f"{path}?{query}").status_code == 200
    for address in (
        f"{path}?week=2026-W09&seal={seal}",
        f"{path}?week=2026-W10&week=2026-W09&seal={seal}",
        f"/sites/barn/figures/week?week=2026-W10&seal={seal}",
        f"/sites/studio/figures/months?seal={seal}",
        f"{path}?week=2026-W10&seal=2{seal[1:]}",
        f"{path}?week=2026-W10&seal={seal[:-1]}",
        f"{path}?week=2026-W10&seal=%C3%BC.x",
        f"{path}?week=2026-W10&seal=",
    ):
        assert stranger.get(address).status_code in (303, 401), address
    assert stranger.post(f"{path}?{query}", data={}).status_code == 404


def test_a_link_that_was_revoked_or_has_ended_leads_nowhere(door: Door, ben: Visitor) -> None:
    link, stranger = shared(ben, days="1"), door.browser()
    [live] = re.findall(r'data-live="([^"]+)"', stranger.get(link).text)
    assert ben.post(f"{PAGE}/1/revoke").headers["location"] == f"{PAGE}?done=revoked"
    assert "leads nowhere any more" in words_of(ben.client.get(f"{PAGE}?done=revoked").text)
    for address in (link, live):
        answer = stranger.get(address)
        assert answer.status_code == 404
        assert "good no longer" in words_of(answer.text)
    assert ben.post(f"{PAGE}/1/revoke").status_code == 422
    other = shared(ben, days="1")
    door.clock[0] += DAY_MS - 1
    assert stranger.get(other).status_code == 200
    door.clock[0] += 1
    assert stranger.get(other).status_code == 404
    assert "No page is shared" in words_of(ben.client.get(PAGE).text)


def test_a_link_takes_nothing_and_is_nothing_else_s(door: Door, ben: Visitor) -> None:
    link, stranger = shared(ben), door.browser()
    assert stranger.post(link, data={}).status_code == 404
    assert stranger.get("/shared/x").status_code == 404
    assert stranger.get("/shared/").status_code == 404
    assert stranger.head(link).status_code == 200


def test_links_are_listed_and_noted(door: Door, ben: Visitor) -> None:
    secret = shared(ben)
    page = words_of(ben.client.get(PAGE).text)
    assert "1 page is shared by a link." in page
    assert "made by Ben" in page
    assert secret.rpartition("/")[2] not in ben.client.get(PAGE).text
    with closing(door.database.connect()) as connection:
        [noted] = audit_log(connection)
    assert (noted.action, noted.site) == ("share page", "studio")
    assert noted.detail == "/sites/studio?week=2026-W10, for a week"


@pytest.mark.parametrize(
    "page",
    [
        "/sites/barn",
        "/sites/studio/setup/tokens",
        "/sites/studio/quarantine",
        "/sites/studiox",
        "/sites/studio/../barn",
        "https://example.org/sites/studio",
        "/audit",
        "",
    ],
)
def test_what_may_not_be_shared(ben: Visitor, page: str) -> None:
    answer = ben.post(PAGE, page=page, days="7")
    assert answer.status_code == 422
    offered = ben.client.get(PAGE, params={"page": page})
    assert "To share one, open it" in words_of(offered.text)


def test_for_how_long_is_one_of_a_few(ben: Visitor) -> None:
    answer = ben.post(PAGE, page="/sites/studio", days="4000")
    assert answer.status_code == 422
