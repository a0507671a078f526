import pytest
from fastapi import Request
from fastapi.responses import Response

from joulebook.web.access.cookies import forget_session, keep_session, session_secret
from joulebook.web.access.rules import AccessRules


def request(scheme: str, cookie: str = "") -> Request:
    return Request(
        {
            "type": "http",
            "scheme": scheme,
            "path": "/",
            "query_string": b"",
            "server": ("power.example.org", 443),
            "headers": [(b"cookie", cookie.encode())],
        }
    )


def set_by(answer: Response) -> tuple[str, set[str]]:
    first, *attributes = answer.headers["set-cookie"].split("; ")
    return first, {each.lower() for each in attributes}


@pytest.mark.parametrize(
    ("scheme", "rules"),
    [("https", AccessRules()), ("http", AccessRules(public_url="https://power.example.org"))],
)
def test_by_tls_it_is_for_this_host_and_tls_alone(scheme: str, rules: AccessRules) -> None:
    # RFC 6265bis, 4.1.3.2: __Host- needs Secure, Path=/ and no Domain.
    answer = Response()
    keep_session(answer, "secret", request(scheme), rules)
    first, attributes = set_by(answer)
    assert first == "__Host-joulebook=secret"
    assert attributes == {"httponly", "secure", "samesite=lax", "path=/", "max-age=7776000"}
    sent = request(scheme, "joulebook=planted; __Host-joulebook=secret")
    assert session_secret(sent, rules) == "secret"


def test_without_tls_it_is_a_plain_cookie() -> None:
    answer = Response()
    keep_session(answer, "secret", request("http"), AccessRules())
    first, attributes = set_by(answer)
    assert first == "joulebook=secret"
    assert attributes == {"httponly", "samesite=lax", "path=/", "max-age=7776000"}
    assert session_secret(request("http", "joulebook=secret"), AccessRules()) == "secret"
    assert session_secret(request("http"), AccessRules()) == ""


def test_it_is_forgotten_as_it_was_kept() -> None:
    answer = Response()
    forget_session(answer, request("https"), AccessRules())
    first, attributes = set_by(answer)
    assert first == '__Host-joulebook=""'
    assert {"max-age=0", "secure", "path=/"} <= attributes
