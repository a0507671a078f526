"""Forms with a file. Outside witnesses: what httpx2 sends, and the example of RFC 7578 §4.2."""

import httpx2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from joulebook.web.access.parts import Parts, PartsError, parts_of

TYPE = "multipart/form-data; boundary=AaB03x"


def sent(texts: dict[str, str], files: dict[str, tuple[str, bytes]]) -> tuple[str, bytes]:
    """Return type and content as another program sends them."""
    request = httpx2.Request("POST", "http://house/", data=texts, files=files)
    return request.headers["content-type"], request.read()


def part(head: str, content: bytes = b"x") -> bytes:
    return f"--AaB03x\r\n{head}\r\n\r\n".encode() + content + b"\r\n"


def refused(content_type: str, body: bytes) -> bool:
    with pytest.raises(PartsError):
        parts_of(content_type, body)
    return True


@settings(derandomize=True, deadline=None, max_examples=40)
@given(
    texts=st.dictionaries(st.text("ab_", min_size=1), st.text(), max_size=4),
    content=st.binary(),
    name=st.text(min_size=1, max_size=20),
)
def test_what_another_program_sends_is_read_to_the_byte(
    texts: dict[str, str], content: bytes, name: str
) -> None:
    assert parts_of(*sent(texts, {"photo": (name, content)})) == Parts(texts, {"photo": content})


def test_what_looks_like_an_end_within_a_file_is_none() -> None:
    content = b"\r\n--\r\n\r\n--Aa\r\n\r\n"
    assert parts_of(*sent({}, {"photo": ("a.jpg", content)})).files["photo"] == content


def test_the_form_of_the_standard() -> None:
    body = (
        b'--AaB03x\r\ncontent-disposition: form-data; name="field1"\r\n'
        b"content-type: text/plain;charset=UTF-8\r\n\r\nJoe owes \xe2\x82\xac100.\r\n--AaB03x--\r\n"
    )
    assert parts_of(TYPE, body) == Parts({"field1": "Joe owes €100."}, {})


def test_a_file_that_was_not_chosen_is_empty() -> None:
    # HTML Standard, "constructing the entry list": an empty name and no content.
    body = part('Content-Disposition: form-data; name="photo"; filename=""', b"") + b"--AaB03x--"
    assert parts_of(TYPE, body) == Parts({}, {"photo": b""})
    assert parts_of('multipart/form-data; boundary="AaB03x"', body).files == {"photo": b""}


def test_of_two_fields_of_a_name_the_later_one_counts() -> None:
    one, other = (part('Content-Disposition: form-data; name="a"', each) for each in (b"1", b"2"))
    assert parts_of(TYPE, one + other + b"--AaB03x--").texts == {"a": "2"}


@pytest.mark.parametrize(
    "content_type",
    [
        "multipart/form-data",
        "multipart/form-data; boundary=",
        f"multipart/form-data; boundary={'x' * 71}",
        "multipart/form-data; boundary=é",
        'multipart/form-data; boundary="ends with a space "',
        "multipart/form-data; boundary*=utf-8''AaB03x",
    ],
)
def test_a_boundary_that_is_none_is_refused(content_type: str) -> None:
    # RFC 2046 §5.1.1
    assert refused(content_type, b"--AaB03x--")


NAMED = 'Content-Disposition: form-data; name="a"'


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"--AaB03x",
        b"words before" + part(NAMED) + b"--AaB03x--",
        part(NAMED),  # cut off
        part(NAMED) + b"--AaB03x",
        b"--AaB03xtra\r\n" + NAMED.encode() + b"\r\n\r\nx\r\n--AaB03x--",
        b"--AaB03x\r\n" + NAMED.encode() + b"\r\n--AaB03x--",  # no empty line
        part("Content-Type: text/plain") + b"--AaB03x--",
        part("Content-Disposition: form-data") + b"--AaB03x--",
        part(NAMED, b"\xff") + b"--AaB03x--",  # no UTF-8
        b"--AaB03x\r\n" + NAMED.encode() + b"\xff\r\n\r\nx\r\n--AaB03x--",
        part(NAMED + ";" * 2048) + b"--AaB03x--",
        21 * part(NAMED) + b"--AaB03x--",
    ],
)
def test_what_is_not_of_its_form_is_refused(body: bytes) -> None:
    assert refused(TYPE, body)


def test_twenty_fields_are_as_many_as_there_may_be() -> None:
    assert parts_of(TYPE, 20 * part(NAMED) + b"--AaB03x--").texts == {"a": "x"}


@settings(derandomize=True, deadline=None)
@given(st.binary())
def test_whatever_comes_is_read_or_refused(body: bytes) -> None:
    for content in (body, b"--AaB03x" + body, part(NAMED) + body + b"\r\n--AaB03x--"):
        try:
            assert isinstance(parts_of(TYPE, content), Parts)
        except PartsError:
            continue
