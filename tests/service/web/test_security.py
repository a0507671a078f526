import pytest

from tests.helpers.pages import Studio


@pytest.mark.parametrize("path", ["/sites/studio", "/api/v1/sites", "/healthz", "/nothing"])
def test_every_answer_carries_the_headers(studio: Studio, path: str) -> None:
    headers = studio.client.get(path).headers
    policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
    assert policy["default-src"] == "'self'"
    assert policy["style-src"] == "'self' 'unsafe-inline'"
    assert "script-src" not in policy  # falls back to default-src (CSP level 3, section 6.1)
    assert "unsafe-eval" not in headers["content-security-policy"]
    assert policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == "'none'"
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cache-control"] in ("no-cache", "no-store")


@pytest.mark.parametrize(
    "path", ["/", "/sites/studio", "/api/v1/sites", "/metrics", "/readyz", "/nothing"]
)
def test_head_answers_as_get_without_the_body(studio: Studio, path: str) -> None:
    # RFC 9110 section 9.3.2.
    with_body = studio.client.get(path)
    without = studio.client.head(path)
    assert without.content == b""
    assert without.status_code == with_body.status_code
    assert without.headers == with_body.headers


def test_a_page_travels_compressed(studio: Studio) -> None:
    answer = studio.client.get("/sites/studio", headers={"accept-encoding": "gzip"})
    assert answer.headers["content-encoding"] == "gzip"
