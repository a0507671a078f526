import pytest
from starlette.requests import Request

from joulebook.web.access.direct import is_direct


def request(peer: str | None, **headers: str) -> Request:
    named = [(name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()]
    return Request(
        {
            "type": "http",
            "path": "/",
            "headers": named,
            "client": None if peer is None else (peer, 50000),
        }
    )


@pytest.mark.parametrize("peer", ["127.0.0.1", "127.3.2.1", "::1", "::ffff:127.0.0.1"])
@pytest.mark.parametrize(
    "host",
    ["127.0.0.1", "127.0.0.1:8350", "localhost", "LOCALHOST:8350", "[::1]", "[::1]:8350"],
)
def test_a_browser_at_this_machine(peer: str, host: str) -> None:
    assert is_direct(request(peer, host=host))


@pytest.mark.parametrize("peer", ["192.0.2.7", "10.0.0.1", "2001:db8::1", "testclient", "", None])
def test_somebody_elsewhere(peer: str | None) -> None:
    assert not is_direct(request(peer, host="127.0.0.1"))


@pytest.mark.parametrize(
    "host",
    [
        "power.example.org",
        "127.0.0.1.example.org",
        "localhost.example.org:8350",
        "192.0.2.7",
        "0.0.0.0",
        "[::]",
        "",
        ":8350",
        "127.0.0.1@example.org",
        "2130706433",  # 127.0.0.1 as one number: no address of ours is written so
    ],
)
def test_a_page_from_elsewhere_whose_name_leads_here(host: str) -> None:
    assert not is_direct(request("127.0.0.1", host=host))


def test_without_a_host_or_with_two_it_is_not() -> None:
    assert not is_direct(request("127.0.0.1"))
    twice = Request(
        {
            "type": "http",
            "path": "/",
            "headers": [(b"host", b"127.0.0.1"), (b"host", b"example.org")],
            "client": ("127.0.0.1", 1),
        }
    )
    assert not is_direct(twice)


@pytest.mark.parametrize(
    "header",
    [
        "forwarded",
        "x_forwarded_for",
        "x_forwarded_proto",
        "x_forwarded_anything",
        "via",
        "x_real_ip",
    ],
)
def test_what_was_passed_on(header: str) -> None:
    passed = {header: "127.0.0.1"}
    assert not is_direct(request("127.0.0.1", host="127.0.0.1", **passed))
