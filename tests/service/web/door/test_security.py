from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from joulebook.storage.database import Database
from joulebook.web.access.rules import AccessRules
from joulebook.web.door.security import security_headers
from tests.helpers.pages import Studio, application

#: SHA-256 of nothing, as `openssl dgst -sha256 -binary /dev/null | base64` prints it.
EMPTY = "'sha256-47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU='"


def policy_of(headers: dict[str, str]) -> dict[str, list[str]]:
    parts = (part.split(" ") for part in headers["Content-Security-Policy"].split("; "))
    return {name: values for name, *values in parts}


@pytest.mark.parametrize("path", ["/sites/studio", "/api/v1/sites", "/healthz", "/nothing"])
def test_every_answer_carries_the_headers(studio: Studio, path: str) -> None:
    headers = studio.client.get(path).headers
    policy = policy_of({"Content-Security-Policy": headers["content-security-policy"]})
    assert policy["default-src"] == policy["style-src"] == ["'self'"]
    assert "script-src" not in policy  # falls back to default-src (CSP level 3, section 6.1)
    assert "unsafe-eval" not in headers["content-security-policy"]
    assert policy["object-src"] == policy["base-uri"] == policy["frame-ancestors"] == ["'none'"]
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["cache-control"] in ("no-cache", "no-store")
    assert "strict-transport-security" not in headers


def test_style_sheets_in_a_page_are_those_that_plotly_writes_and_no_others(studio: Studio) -> None:
    headers = studio.client.get("/sites/studio").headers
    policy = policy_of({"Content-Security-Policy": headers["content-security-policy"]})
    own, *hashes = policy["style-src-elem"]
    assert own == "'self'"
    assert EMPTY in hashes
    assert all(each.startswith("'sha256-") for each in hashes)
    assert policy["style-src-attr"] == ["'unsafe-inline'"]


def test_the_hash_of_a_style_sheet_in_the_script() -> None:
    # By hand: printf 'p{color:red}' | openssl dgst -sha256 -binary | base64
    script = b"""var e=document.createElement("style");e.id="x",e.textContent='p{color:red}';"""
    policy = policy_of(security_headers(script))
    assert policy["style-src-elem"] == [
        "'self'",
        EMPTY,
        "'sha256-p0bF+un5yUb9MBO6xRb8kPHlY2BdpHVtLiFkDrZPF64='",
    ]


@pytest.mark.parametrize(
    ("address", "public_url", "told"),
    [
        ("https://power.example.org", "", True),
        ("http://power.example.org", "https://power.example.org", True),
        ("http://power.example.org", "http://power.example.org", False),
        ("http://power.example.org", "", False),
    ],
)
def test_browsers_that_came_by_tls_are_told_to_go_on_so(
    tmp_path: Path, address: str, public_url: str, told: bool
) -> None:
    # RFC 6797, 6.1; a year.
    app = application(Database.open(tmp_path), rules=AccessRules(public_url=public_url))
    headers = TestClient(app, base_url=address).get("/healthz").headers
    assert headers.get("strict-transport-security") == ("max-age=31536000" if told else None)


@pytest.mark.parametrize(
    "path",
    ["/", "/sites/studio", "/api/v1/sites", "/readyz", "/nothing"],  # /metrics moves on
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
