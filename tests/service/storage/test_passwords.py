import re

import pytest

from joulebook.errors import UsageError
from joulebook.storage.passwords import check_password, hash_password, password_fits

GOOD = "four words nobody guesses"


def test_it_is_kept_as_argon2id_says() -> None:
    # RFC 9106, section 4, second recommended option: 3 passes, 4 lanes, 64 MiB; 128 bits of salt
    # and 256 of tag, in the PHC string format, base 64 without padding.
    kept = hash_password(GOOD)
    form = r"\$argon2id\$v=19\$m=65536,t=3,p=4\$[\w+/]{22}\$[\w+/]{43}"
    assert re.fullmatch(form, kept, flags=re.ASCII)
    assert hash_password(GOOD) != kept


def test_only_the_same_password_fits() -> None:
    kept = hash_password(GOOD)
    assert password_fits(GOOD, kept)
    assert not password_fits(GOOD + " ", kept)
    assert not password_fits("x" * 201, kept)


def test_a_hash_of_another_program_fits_as_the_standard_says() -> None:
    # argon2 of Debian, `echo -n password | argon2 somesalt -id -t 2 -m 16 -p 1 -l 32 -e`, the
    # reference implementation's own test vector (src/test.c, Argon2id, version 19; from memory).
    kept = "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"
    assert password_fits("password", kept)
    assert not password_fits("passwore", kept)


@pytest.mark.parametrize("kept", [None, "not a hash"])
def test_nothing_fits_where_there_is_none(kept: str | None) -> None:
    assert not password_fits("", kept)
    assert not password_fits(GOOD, kept)


@pytest.mark.parametrize(
    ("password", "why"),
    [
        ("eleven char", "11 characters"),
        ("x" * 201, "200 are the most"),
        ("abababababababab", "too few different"),
        ("my name is ADA, hello", "a name"),
        ("the joulebook here", "a name"),
    ],
)
def test_what_is_easy_to_guess_is_refused(password: str, why: str) -> None:
    with pytest.raises(UsageError, match=why):
        check_password(password, "Ada")


def test_what_is_not_is_taken() -> None:
    check_password(GOOD, "Ada")
