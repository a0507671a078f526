import pytest
from fastapi import Request

from joulebook.web.access.actor import NOBODY, Actor
from joulebook.web.access.forms import Form
from joulebook.web.access.origin import check_origin, check_proof
from joulebook.web.problems import ProblemError

ADA = Actor(name="Ada", kind="person", proof="proof of a session")


def request(scheme: str = "http", **headers: str) -> Request:
    named = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
    return Request(
        {
            "type": "http",
            "scheme": scheme,
            "path": "/",
            "query_string": b"",
            "server": ("power.example.org", 80),
            "headers": [(b"host", b"power.example.org"), *named],
        }
    )


@pytest.mark.parametrize(
    "sent",
    [
        request(origin="http://power.example.org"),
        request(origin="http://power.example.org", sec_fetch_site="same-origin"),
        request(origin="https://power.example.org"),  # a proxy with TLS that was not named
        request("https", origin="https://power.example.org", sec_fetch_site="none"),
    ],
)
def test_a_form_of_our_own_pages(sent: Request) -> None:
    check_origin(sent)


@pytest.mark.parametrize(
    "sent",
    [
        request(),
        request(origin=""),
        request(origin="null"),
        request(origin="http://example.org"),
        request(origin="http://power.example.org:8080"),
        request(origin="http://power.example.org.example.org"),
        request(origin="http://power.example.org", sec_fetch_site="cross-site"),
        request(origin="http://power.example.org", sec_fetch_site="same-site"),
        request("https", origin="http://power.example.org"),
    ],
)
def test_a_form_of_somebody_else_s(sent: Request) -> None:
    with pytest.raises(ProblemError) as caught:
        check_origin(sent)
    assert (caught.value.status, caught.value.kind) == (403, "not-from-here")


@pytest.mark.parametrize(
    ("fields", "actor"),
    [
        ({}, ADA),
        ({"proof": ""}, ADA),
        ({"proof": "proof of another session"}, ADA),
        ({"proof": "\u00fc"}, ADA),
        ({"proof": "proof of a session"}, NOBODY),
    ],
)
def test_a_form_that_is_not_of_this_session(fields: dict[str, str], actor: Actor) -> None:
    with pytest.raises(ProblemError) as caught:
        check_proof(Form(fields), actor)
    assert (caught.value.status, caught.value.kind) == (403, "not-from-here")


def test_one_that_is_and_what_proves_it_is_no_field_any_more() -> None:
    form = Form({"proof": "proof of a session", "name": "kiln"})
    check_proof(form, ADA)
    assert form.fields == {"name": "kiln"}
