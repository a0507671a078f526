import base64

import pytest

from joulebook.web.access.credentials import credentials_of


def test_http_basic_as_the_standard_shows_it() -> None:
    # RFC 7617, section 2 and 2.1: the two examples.
    assert credentials_of("Basic QWxhZGRpbjpvcGVuIHNlc2FtZQ==") == ("Aladdin", "open sesame")
    assert credentials_of("Basic dGVzdDoxMjPCow==") == ("test", "123\u00a3")


def test_a_bearer_s_token_as_the_standard_shows_it() -> None:
    # RFC 6750, section 2.1.
    assert credentials_of("Bearer mF_9.B5f-4.1JqM") == (None, "mF_9.B5f-4.1JqM")


def test_the_scheme_is_written_in_any_case_and_a_secret_may_hold_colons() -> None:
    coded = base64.b64encode(b"shed:a:b").decode()
    assert credentials_of(f"bAsIc {coded}") == ("shed", "a:b")
    assert credentials_of("BEARER  x") == (None, "x")


@pytest.mark.parametrize(
    "header",
    [
        *("", "Basic", "Basic !!!", "Basic /w==", "Basic QUFB", "Basic QUFB\xc8", "Digest x"),
        "Bearer " + "x" * 400,
    ],
)
def test_what_is_neither(header: str) -> None:
    assert credentials_of(header) is None
