import pytest
from fastapi import Request

from joulebook.web.access.links import link_to
from joulebook.web.access.rules import AccessRules


@pytest.mark.parametrize(
    ("public_url", "link"),
    [
        ("", "http://192.0.2.7:8350/welcome/x"),
        ("https://power.example.org", "https://power.example.org/welcome/x"),
    ],
)
def test_a_link_begins_with_how_browsers_reach_us(public_url: str, link: str) -> None:
    request = Request(
        {
            "type": "http",
            "scheme": "http",
            "path": "/people",
            "query_string": b"",
            "server": ("127.0.0.1", 8350),
            "headers": [(b"host", b"192.0.2.7:8350")],
        }
    )
    assert link_to("/welcome/x", request, AccessRules(public_url=public_url)) == link
