from urllib.parse import urljoin, urlsplit

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.web.access.signing_in import own_path


@pytest.mark.parametrize("path", ["/", "/sites/studio?week=2026-W09", "/sites/a%20b", "/a//b"])
def test_an_address_of_ours_is_gone_on_to(path: str) -> None:
    assert own_path(path) == path


@pytest.mark.parametrize(
    "address",
    [
        "",
        "sites",
        "https://example.org/",
        "//example.org",
        "///example.org",
        "/\\example.org",
        "/\t/example.org",
        "/\r\nSet-Cookie: a=b",
        "\\example.org",
        "javascript:alert(1)",
        " /x",
        "/\u2028/x",
    ],
)
def test_no_other_is(address: str) -> None:
    assert own_path(address) == "/"


@given(st.text(alphabet=st.sampled_from("/\\.:@?#%aé \t\r\n"), max_size=12))
@settings(derandomize=True, deadline=None, max_examples=2000)
def test_wherever_it_comes_from_it_stays_here(address: str) -> None:
    # urllib.parse follows RFC 3986, section 5; browsers also take a backslash for a slash.
    led = own_path(address)
    for read in (led, led.replace("\\", "/")):
        assert urlsplit(urljoin("https://power.example.org/sign-in", read)).netloc == (
            "power.example.org"
        )
