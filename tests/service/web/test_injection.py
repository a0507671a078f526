"""What is written into addresses, headers and forms stays what it is: text."""

from pathlib import Path

import pytest

from tests.helpers.pages import outline
from tests.helpers.visitors import Door, opened_door

SCRIPT = "<script>alert(1)</script>"
QUOTE = '" onmouseover="alert(1)'


@pytest.fixture
def door(tmp_path: Path) -> Door:
    return opened_door(tmp_path)


# OWASP Web Security Testing Guide, "Testing for Path Traversal": ways to write "..".
@pytest.mark.parametrize(
    "path",
    [
        "/assets/x/../../../../etc/passwd",
        "/assets/x/..%2f..%2f..%2fetc%2fpasswd",
        "/assets/%2e%2e/%2e%2e/etc/passwd",
        "/assets/x/..%5c..%5cetc%5cpasswd",
        "/assets//etc/passwd",
        "/sites/studio/evidence/files/..%2fjoulebook.sqlite3",
        "/sites/studio/evidence/files/%2e%2e%2fjoulebook.sqlite3",
        "/sites/..%2fstudio",
        "/sites/studio%00",
        "/welcome/..%2f..%2fpeople",
        "/shared/../people",
        "/shared/%2e%2e/people",
    ],
)
def test_no_path_leads_to_a_file_or_around_the_gate(door: Door, path: str) -> None:
    for client in (door.browser(), door.signed_in("Ben").client):
        answer = client.get(path)
        assert answer.status_code in (303, 307, 403, 404, 422), path
        assert b"SQLite format" not in answer.content
        assert "root:" not in answer.text


@pytest.mark.parametrize(
    "path",
    [
        "/%53ign-in/../people",
        "//people",
        "/people/",
        "/PEOPLE",
        "/people%2f",
        "/./people",
        "/sign-in/../people",
        "/welcome/../people",
        "/assets/../people",
        "/about/../people",
        "/people;/sign-in",
        "/api/../people",
    ],
)
def test_no_other_way_to_write_a_path_opens_it(door: Door, path: str) -> None:
    answer = door.browser().get(path)
    assert "have an account here" not in answer.text
    assert answer.status_code in (303, 307, 401, 404)


@pytest.mark.parametrize(
    "value", ["x\r\nSet-Cookie: a=b", "/%0d%0aSet-Cookie:%20a=b", "/\r\nX-Own: 1", "/\x00"]
)
def test_no_header_is_made_of_what_was_sent(door: Door, value: str) -> None:
    # CWE-113: what goes into Location, and into the names of files.
    for answer in (
        door.browser().get("/sites/studio", params={"week": value}),
        door.browser().get("/sign-in", params={"next": value}),
        door.signed_in("Ada").client.get("/sign-in", params={"next": value}),
        door.signed_in("Ben").client.get("/sites/studio/today", params={"x": value}),
    ):
        assert "set-cookie" not in answer.headers
        assert "x-own" not in answer.headers
        assert not {"\r", "\n"} & set(answer.headers.get("location", ""))


@pytest.mark.parametrize("text", [SCRIPT, QUOTE, "{{ 7 * 7 }}", "${7*7}"])
def test_what_was_written_is_shown_as_text(door: Door, text: str) -> None:
    ben, stranger = door.signed_in("Ben"), door.browser()
    pages = (
        stranger.post("/sign-in", data={"name": text[:80], "password": ""}),
        stranger.get("/sign-in", params={"next": f"/{text}"}),
        ben.client.get(f"/sites/{text}"),
        ben.client.get("/sites/studio", params={"week": text}),
        ben.client.get("/sites/studio/quarantine", params={"page": text}),
        ben.client.get("/sites/studio/shares", params={"page": f"/sites/studio?{text}"}),
        ben.post("/sites/studio/setup/tokens", name=text[:60], scope=text),
        ben.post("/sites/studio/shares", page=text, days=text),
        door.signed_in("Ada").post("/people", name=text[:40]),
    )
    for page in pages:
        found = outline(page.text)
        assert "onmouseover" not in {name for _, attributes in found.tags for name in attributes}
        assert all("src" in script for script in found.named("script"))
        assert "49" not in found.text.split()


def test_a_session_s_browser_is_shown_as_text(door: Door) -> None:
    client = door.browser()
    client.headers["User-Agent"] = SCRIPT
    form = {"name": "Ada", "password": "four words nobody guesses"}
    assert client.post("/sign-in", data=form).status_code == 303
    page = client.get("/people/me")
    assert SCRIPT in outline(page.text).text
    assert SCRIPT not in page.text


def test_a_site_that_is_not_seen_is_like_one_that_is_not_there(door: Door) -> None:
    ben = door.signed_in("Ben").client
    for path in ("/sites/{}", "/sites/{}/wear", "/api/v1/sites/{}/days", "/sites/{}/setup/tokens"):
        hidden, none = (ben.get(path.format(name)) for name in ("barn", "none"))
        assert hidden.status_code == none.status_code == 404
        assert hidden.text.replace("barn", "none") == none.text


def test_a_mistake_of_ours_tells_nothing_of_what_is_inside(
    door: Door, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_: object, **__: object) -> None:
        raise ZeroDivisionError("/home/ada/secret.txt")

    monkeypatch.setattr("joulebook.web.pages.audit.audit_log", fails)
    answer = door.signed_in("Ada").client.get("/audit")
    assert answer.status_code == 500
    for word in ("ZeroDivisionError", "secret.txt", "Traceback", ".py", "line "):
        assert word not in answer.text
    assert "default-src 'self'" in answer.headers["content-security-policy"]


@pytest.mark.parametrize("origin", ["https://example.org", "null", "http://power.example.org.evil"])
def test_no_other_site_may_read_an_answer(door: Door, origin: str) -> None:
    # Fetch Standard, "CORS protocol": without these headers a script elsewhere reads nothing.
    client = door.signed_in("Ada").client
    client.headers["Origin"] = origin
    for path in ("/api/v1/sites", "/sites/studio", "/metrics"):
        assert not [name for name in client.get(path).headers if name.startswith("access-control")]
    assert "access-control-allow-origin" not in client.options("/api/v1/sites").headers
