from pathlib import Path

import pytest
from fastapi import HTTPException
from fastapi.testclient import TestClient
from starlette.requests import ClientDisconnect

from joulebook.errors import DataRefusedError, UnavailableError, UsageError
from joulebook.web.words import texts
from tests.helpers.pages import Studio, client_of, empty_studio, words_of

_PAGE = {"accept": "text/html,application/xhtml+xml"}


def failing_client(data_dir: Path, error: Exception) -> TestClient:
    """Return a client whose application raises an error at ``/fails``."""
    client = client_of(empty_studio(data_dir).database)

    async def fail(count: int = 0) -> int:
        if count:
            return count
        raise error

    client.app.add_api_route("/fails", fail)  # type: ignore[attr-defined]
    return client


def test_a_problem_has_the_members_of_rfc_9457_and_the_four_parts(studio: Studio) -> None:
    # RFC 9457 section 3.1: type, title, status, detail, instance; others are extensions.
    answer = studio.client.get("/api/v1/sites/nowhere/days")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.headers["cache-control"] == "no-store"
    assert answer.json() == {
        "type": "/api/docs#problem-unknown-site",
        "title": "No such site",
        "status": 404,
        "detail": "there is no site 'nowhere'",
        "instance": "/api/v1/sites/nowhere/days",
        "where": "the address, after /sites/",
        "expected": "the name of a site: studio",
        "next": "choose one from the list of sites",
    }


def test_the_type_of_every_problem_leads_to_its_words(studio: Studio) -> None:
    page = studio.client.get("/api/docs").text
    for kind, title in texts.PROBLEMS.items():
        assert f'id="problem-{kind}"' in page
        assert title in page


def test_a_person_gets_a_page(studio: Studio) -> None:
    answer = studio.client.get("/sites/nowhere", headers=_PAGE)
    assert answer.status_code == 404
    assert answer.headers["content-type"].startswith("text/html")
    words = words_of(answer.text)
    assert "There is no site 'nowhere'." in words
    assert "choose one from the list of sites" in words


@pytest.mark.parametrize(
    "path", ["/api/v1/nothing", "/sites/studio/figures/none", "/healthz/x", "/metrics/x"]
)
def test_a_program_gets_a_document_even_through_a_browser(studio: Studio, path: str) -> None:
    answer = studio.client.get(path, headers=_PAGE)
    assert (answer.status_code, answer.headers["content-type"]) == (
        404,
        "application/problem+json",
    )


def test_an_unknown_address_is_answered_by_what_is_accepted(studio: Studio) -> None:
    assert studio.client.get("/nothing").json()["title"] == "Nothing here"
    page = studio.client.get("/nothing", headers=_PAGE)
    assert page.status_code == 404
    assert "Nothing here" in words_of(page.text)
    assert {"Accept", "Accept-Encoding"} <= set(page.headers["vary"].split(", "))


def test_nothing_but_readings_can_be_sent(studio: Studio) -> None:
    answer = studio.client.post("/api/v1/sites", json={})
    assert answer.status_code == 405
    # RFC 9110 section 15.5.6: a 405 names the methods that exist.
    assert answer.headers["allow"] == "GET"
    assert "POST for readings" in answer.json()["expected"]


def test_what_fastapi_refuses_is_a_problem_too(tmp_path: Path) -> None:
    client = failing_client(tmp_path, HTTPException(418, "short and stout"))
    answer = client.get("/fails", params={"count": "many"})
    assert answer.status_code == 422
    assert answer.json()["where"] == "query parameter 'count'"
    assert client.get("/fails", params={"count": 7}).json() == 7
    assert client.get("/fails").json()["detail"] == "short and stout"


@pytest.mark.parametrize(
    ("kind", "status", "title"),
    [
        (UsageError, 400, "Not a valid request"),
        (UnavailableError, 503, "The store is away for the moment"),
        (DataRefusedError, 500, "Data that must not be touched"),
    ],
)
def test_the_four_parts_of_the_houses_errors_arrive(
    tmp_path: Path, kind: type[UsageError], status: int, title: str
) -> None:
    error = kind("it broke", where="the garage", expected="no smoke", next_step="go outside")
    answer = failing_client(tmp_path, error).get("/fails")
    assert answer.status_code == status
    document = answer.json()
    assert document["title"] == title
    assert [document[part] for part in ("detail", "where", "expected", "next")] == [
        "it broke",
        "the garage",
        "no smoke",
        "go outside",
    ]
    # RFC 9110 section 10.2.3: how long the other side may be expected to be away.
    assert ("retry-after" in answer.headers) == (status == 503)


def test_a_bug_says_only_that_it_is_one(tmp_path: Path) -> None:
    answer = failing_client(tmp_path, ZeroDivisionError("secret of ours")).get("/fails")
    assert answer.status_code == 500
    assert answer.json()["title"] == "A mistake of ours"
    assert "secret" not in answer.text
    assert "content-security-policy" in answer.headers


def test_who_hangs_up_in_the_midst_of_what_he_sends_is_no_bug(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    answer = failing_client(tmp_path, ClientDisconnect()).get("/fails")
    assert (answer.status_code, answer.content) == (400, b"")
    assert "Traceback" not in caplog.text
