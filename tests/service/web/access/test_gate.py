from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.database import transaction
from joulebook.web.access.rules import AccessRules
from tests.helpers.pages import HOUSE, words_of
from tests.helpers.visitors import DAY_MS, OUTSIDE, Door, basic, opened_door


@pytest.fixture
def door(tmp_path: Path) -> Door:
    return opened_door(tmp_path)


def test_a_program_is_told_how_to_sign_in_and_a_browser_s_script_is_not_asked(door: Door) -> None:
    # RFC 9110, 11.6.1: a 401 names a scheme. A browser that is told of Basic opens a window.
    program = door.browser()
    program.headers["Accept"] = "application/json"
    answer = program.get("/api/v1/sites")
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"].startswith("Basic ")
    program.headers["Sec-Fetch-Mode"] = "cors"
    assert program.get("/api/v1/sites").headers["www-authenticate"].startswith("Bearer ")
    assert program.get("/sites/studio").headers["www-authenticate"].startswith("Bearer ")


def test_what_is_posted_by_a_stranger_leads_to_no_other_page(door: Door) -> None:
    answer = door.browser().post("/people", data={"name": "Eve"})
    assert answer.status_code == 401
    assert "nobody is signed in" in words_of(answer.text).lower()


def test_a_token_counts_where_programs_ask_and_nowhere_else(door: Door) -> None:
    reader = door.program(door.token("reader", "read"), "reader")
    assert reader.get("/api/v1/sites").status_code == 200
    assert reader.get("/sites/studio").status_code == 401
    assert reader.post("/api/v1/sites/studio/readings").status_code == 403
    assert reader.get("/metrics").status_code == 403
    assert reader.delete("/api/v1/sites").status_code == 405  # nobody may, for there is no such


def test_whoever_sends_a_wrong_token_is_nobody_although_she_is_signed_in(door: Door) -> None:
    ada = door.signed_in("Ada").client
    assert ada.get("/api/v1/sites").status_code == 200
    wrong = {"Authorization": basic("reader", "wrong")}
    assert ada.get("/api/v1/sites", headers=wrong).status_code == 401
    assert ada.get("/api/v1/sites", headers={"Authorization": "Digest x"}).status_code == 401
    assert ada.get("/people", headers=wrong).status_code == 200  # no place for tokens


def test_whoever_guesses_tokens_waits_and_the_right_one_gets_in_where_it_did(door: Door) -> None:
    secret = door.token("reader", "read")
    assert door.program(secret, "reader").get("/api/v1/sites").status_code == 200
    guesser = door.program("wrong", "reader", at="198.51.100.9")
    statuses = [guesser.get("/api/v1/sites").status_code for _ in range(8)]
    assert statuses == [401] * 6 + [429] * 2
    answer = guesser.get("/api/v1/sites")
    assert answer.headers["retry-after"] == "2"
    assert answer.json()["type"].endswith("too-many-attempts")
    assert door.program(secret, "reader").get("/api/v1/sites").status_code == 200


def test_with_a_token_the_house_is_the_house_all_the_same(tmp_path: Path) -> None:
    door = opened_door(tmp_path / "bare", owned=False)
    secret = door.token("shed", "write", door.studio)
    house = door.browser(at="127.0.0.1", base=HOUSE)
    house.headers["Authorization"] = basic("shed", secret)
    assert house.get("/api/v1/sites/barn/days").status_code == 200
    url = "/api/v1/sites/studio/readings?device=pv"
    plain = {"Content-Type": "text/plain"}
    # Let in, but in no form that readings have.
    assert house.post(url, content=b"x", headers=plain).status_code == 415
    house.headers["Authorization"] = basic("shed", "wrong")
    assert house.get("/api/v1/sites/barn/days").status_code == 200
    assert house.post(url, content=b"x", headers=plain).status_code == 401


def test_the_demonstration_s_machine_is_its_owner_whatever_was_added(tmp_path: Path) -> None:
    door = opened_door(tmp_path / "demo", rules=AccessRules(demonstration=True))
    house = door.browser(at="127.0.0.1", base=HOUSE)
    assert house.get("/people").status_code == 200
    assert door.browser().get("/people").status_code == 303
    rebound = door.browser(at="127.0.0.1", base=OUTSIDE)
    assert rebound.get("/people").status_code == 303


def test_by_tls_only_the_cookie_of_this_host_counts(door: Door) -> None:
    ada = door.signed_in("Ada")
    browser = door.browser(base="https://power.example.org")
    browser.cookies.set("joulebook", ada.secret)
    assert browser.get("/people").status_code == 303
    browser.cookies.set("__Host-joulebook", ada.secret)
    assert browser.get("/people").status_code == 200


def test_metrics_are_for_watchers_and_owners(door: Door) -> None:
    near = door.browser(at="127.0.0.1", base=HOUSE)
    assert near.get("/metrics").status_code == 200
    assert door.program(door.token("watcher", "metrics")).get("/metrics").status_code == 200
    assert door.signed_in("Ada").client.get("/metrics").status_code == 200
    assert door.signed_in("Ben").client.get("/metrics").status_code == 403
    assert door.browser().get("/metrics").status_code == 401


def test_a_session_is_looked_up_while_others_write(door: Door) -> None:
    ada = door.signed_in("Ada").client
    door.clock[0] += DAY_MS
    with closing(door.database.connect()) as writer, transaction(writer):
        writer.execute("UPDATE sites SET battery_ah = 1")
        assert ada.get("/people").status_code == 200


def test_where_the_database_is_away_a_page_says_so_and_no_more(door: Door) -> None:
    ada = door.signed_in("Ada").client
    with closing(door.database.connect()) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    door.database.path.rename(door.database.path.with_suffix(".away"))
    answer = ada.get("/people")
    assert answer.status_code == 503
    assert "the database cannot be opened" in words_of(answer.text).lower()
    assert str(door.database.data_dir) not in answer.text
    assert ada.get("/healthz").json() == {"status": "alive"}


def test_what_is_no_request_goes_on_to_the_application(door: Door) -> None:
    with door.browser() as client:  # begins and ends the application, ASGI's "lifespan"
        assert client.get("/healthz").status_code == 200
