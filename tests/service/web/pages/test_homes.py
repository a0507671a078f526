import csv
import io
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from joulebook.storage.alerts import open_episode
from joulebook.storage.database import Database, transaction
from joulebook.storage.people import add_person
from joulebook.storage.records import Site
from joulebook.storage.sign_offs import add_sign_off
from joulebook.summaries.homes.lines import update_numbers, update_peers, update_told
from joulebook.web.homes.choice import PER_PAGE
from joulebook.web.region.formats import DASH
from joulebook.web.words.home_texts import COLUMNS
from tests.helpers.databases import write
from tests.helpers.pages import client_of, outline, words_of
from tests.helpers.told_homes import DAY_MS, NOON_MS, entered_home, keep_record, record
from tests.helpers.visitors import OUTSIDE, opened_door


@dataclass(frozen=True)
class Homes:
    client: TestClient
    database: Database
    sites: list[Site]


@pytest.fixture(scope="module")
def homes(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Homes]:
    """Forty homes: one is hot, one silent, one worn, one ends soon, one is new, one well."""
    database = Database.open(tmp_path_factory.mktemp("homes"))
    sites = [entered_home(database, f"home-{n:02d}") for n in range(40)]
    with closing(database.connect()) as connection:
        for number, site in enumerate(sites):
            if number != 5:
                write(connection, site, "battery", {NOON_MS - 60_000: {"power": 1.0}})
            document = record(150.0 if number == 7 else 186.0 + number % 5)
            if number == 8:
                document["warranty"] = document["warranty"] | {"ends": "2026-05-01"}
            if number == 11:
                document = record(186.0, chance=None)
            if number != 9:
                keep_record(connection, site, document)
        add_sign_off(
            *(connection, sites[10], {}), at_ms=NOON_MS, who="Ada", name="Ada", role="owner"
        )
        with transaction(connection):
            open_episode(
                *(connection, sites[3].id, "hot-battery", "battery"),
                at_ms=NOON_MS - DAY_MS,
                value=46.2,
                sentence="battery is at 46.2 °C",
            )
        settle(database)
    entered_home(database, "home-99")
    yield Homes(client_of(database, now_ms=NOON_MS), database, sites)
    database.close()


def settle(database: Database) -> None:
    with closing(database.connect()) as connection:
        update_numbers(database, connection, now_ms=NOON_MS, go_on=lambda: True)
        update_peers(connection, go_on=lambda: True)
        update_told(connection, now_ms=NOON_MS, go_on=lambda: True)


def names(page: str) -> list[str]:
    links = [each["href"] for each in outline(page).named("a")]
    return [each.removeprefix("/sites/") for each in links if each and each.startswith("/sites/")]


def test_those_that_need_someone_most_come_first_with_the_reason_in_words(homes: Homes) -> None:
    page = homes.client.get("/homes").text
    assert names(page)[:4] == ["home-03", "home-05", "home-07", "home-08"]
    words = words_of(page)
    assert "3 of 41 homes need someone now. 1 has something ahead; 35 have all but" in words
    assert "The battery is hot: battery is at 46.2 °C." in words
    assert "Nothing was ever heard of it." in words
    assert "It holds 75.0 % of the rated charge, where 38 homes like it hold 94.0 %." in words
    assert "Its warranty ends on 1 May 2026: 2 months are left." in words
    assert "A claim would lack a signed commissioning record." in words
    assert "Caution. What could hurt somebody comes first." in words


def test_each_home_stands_beside_homes_like_it_with_intervals(homes: Homes) -> None:
    words = words_of(homes.client.get("/homes?q=home-07").text)
    dash = f"\N{WORD JOINER}{DASH}\N{WORD JOINER}"
    assert "Holds 75.0 % (73.0 to 77.0 %)" in words.replace(dash, " to ")
    assert "38 homes like it: 94.0 %, 9 in 10 within" in words
    assert "Loses 3.0 % a year" in words
    assert "until 1 March 2034 chance to hold 70 % until then: 90 %" in words
    assert "Heard 1 min ago" in words


def test_a_home_without_numbers_says_why_not_and_one_that_is_new_waits(homes: Homes) -> None:
    words = words_of(homes.client.get("/homes?q=home-09").text)
    assert "Holds not given: the whole record has not been analysed yet" in words
    assert "Loses" not in words  # for the same reason, which is said once
    words = words_of(homes.client.get("/homes?q=home-11").text)
    assert "until 1 March 2034 Heard" in words  # no chance is given
    words = words_of(homes.client.get("/homes?q=home-99").text)
    assert "Nothing was found out of it yet; that takes about a minute." in words
    assert "Holds" not in words


def test_homes_are_searched_and_chosen_by_state_and_reason(homes: Homes) -> None:
    assert names(homes.client.get("/homes?q=HOME-1").text) == [
        f"home-1{n}" for n in (1, 2, 3, 4, 5, 6, 7, 8, 9, 0)
    ]  # that which needs nobody comes last
    for show, expected in {
        "danger": ["home-03"],
        "silent": ["home-05"],
        "worse-than-peers": ["home-07"],
        "ahead": ["home-08"],
        "fine": ["home-10"],
        "new": ["home-99"],
        "now": ["home-03", "home-05", "home-07"],
    }.items():
        assert names(homes.client.get(f"/homes?show={show}").text) == expected
    page = outline(homes.client.get("/homes?show=fine").text)
    assert "It needs nobody." in page.text
    chosen = [each["value"] for each in page.named("option") if "selected" in each]
    assert chosen == ["fine"]
    assert {"href": "/homes.csv?show=fine"} in page.named("a")
    assert "open" in page.named("details")[0]


def test_pages_follow_one_another(homes: Homes) -> None:
    first, second = (homes.client.get(f"/homes?page={n}").text for n in (1, 2))
    assert len(names(first)) == PER_PAGE
    assert len(names(second)) == 41 - PER_PAGE
    assert not set(names(first)) & set(names(second))
    assert {"href": "/homes?page=2", "rel": "next"} in outline(first).named("a")
    assert {"href": "/homes", "rel": "prev"} in outline(second).named("a")
    further = outline(homes.client.get("/homes?q=home&page=2").text).named("a")
    assert {"href": "/homes?q=home", "rel": "prev"} in further


def test_where_nothing_is_found_it_says_how_to_go_on(homes: Homes) -> None:
    assert "There is no page 9." in words_of(homes.client.get("/homes?page=9").text)
    assert "No home is so." in words_of(homes.client.get("/homes?q=castle").text)
    for wrong in ("show=everything", f"q={'x' * 64}", "page=0"):
        answer = homes.client.get(f"/homes?{wrong}")
        assert answer.status_code == 422, wrong
        assert answer.json()["type"].endswith("invalid-request")


def test_without_a_home_it_says_so(tmp_path: Path) -> None:
    with closing(Database.open(tmp_path)) as database:
        words = words_of(client_of(database).get("/homes").text)
    assert "There is no home yet that you may see." in words
    assert "No home is so." not in words


def test_the_table_holds_what_was_chosen_in_plain_numbers(homes: Homes) -> None:
    answer = homes.client.get("/homes.csv")
    assert answer.headers["content-type"] == "text/csv; charset=utf-8; header=present"
    rows = {row["home"]: row for row in csv.DictReader(io.StringIO(answer.text, newline=""))}
    assert len(rows) == 41
    assert tuple(rows["home-07"]) == tuple(COLUMNS)
    worn = rows["home-07"]
    assert (worn["state"], worn["reasons"]) == ("now", "worse-than-peers unproven")
    assert worn["first_reason"].startswith("It holds 75.0 % of the rated charge")
    assert [float(worn[f"capacity{part}_ratio"]) for part in ("", "_low", "_high")] == [
        *(0.75, 0.73, 0.77)
    ]
    assert (worn["capacity_peers"], worn["capacity_peers_ratio"]) == ("38", "0.94")
    assert float(worn["discovery_rate"]) < 0.05
    assert (worn["warranty_ends"], worn["chance_ratio"]) == ("2034-03-01", "0.9")
    assert (worn["heard"], worn["made"]) == (
        *("2026-03-01T11:59:00+00:00", "2026-03-01T12:00:00+00:00"),
    )
    empty, new = rows["home-09"], rows["home-99"]
    assert empty["capacity_ratio"] == ""
    assert empty["capacity_reason"].startswith("the whole record has not")
    assert empty["peers_reason"] == "the number itself is not given"
    assert (new["state"], new["reasons"], new["made"]) == ("new", "", "")
    one = homes.client.get("/homes.csv?show=fine").text.splitlines()
    assert len(one) == 2


def test_people_see_the_homes_that_they_may_see_and_no_others(tmp_path: Path) -> None:
    door = opened_door(tmp_path)
    settle(door.database)
    seen = {}
    for name in ("Ada", "Ben", "Dan", "Eve"):
        client = door.signed_in(name).client
        page, table = client.get("/homes").text, client.get("/homes.csv").text
        rows = {row["home"] for row in csv.DictReader(io.StringIO(table, newline=""))}
        listed = {each for each in names(page) if "/" not in each}
        assert rows == listed
        seen[name] = (listed, f" of {len(listed)} home" in words_of(page))
    both = {"studio", "barn"}
    assert seen == {
        "Ada": (both, True),
        "Ben": ({"studio"}, True),
        "Dan": ({"barn"}, True),
        "Eve": (both, True),
    }
    door.database.close()


def test_the_way_to_it_is_shown_to_whoever_sees_more_than_one_home(tmp_path: Path) -> None:
    door = opened_door(tmp_path)
    with closing(door.database.connect()) as connection:
        add_person(
            *(connection, "Fay"), now_ms=1, at={door.studio.id: "viewer", door.barn.id: "viewer"}
        )

    def shown(name: str, site: str) -> bool:
        page = door.signed_in(name).client.get(f"/sites/{site}/checks")
        return any(each["href"] == "/homes" for each in outline(page.text).named("a"))

    assert shown("Ada", "studio")
    assert shown("Eve", "barn")
    assert shown("Fay", "barn")
    assert not shown("Ben", "studio")
    assert not shown("Dan", "barn")
    stranger = door.browser(base=OUTSIDE).get("/about").text
    assert "/homes" not in stranger
    door.database.close()
