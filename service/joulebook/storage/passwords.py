"""Passwords: what one must be like, and its argon2id hash."""

import threading
from functools import cache

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from joulebook.errors import UsageError

#: NIST SP 800-63B-4, 3.1.1.2 asks for 8 characters beside another factor and 15 alone. People
#: who type on a phone in a garage get 12, and delays that grow with each failure.
LEAST_CHARACTERS = 12
#: Long enough for a sentence; hashing more would only keep the processor busy.
MOST_CHARACTERS = 200

# argon2id with the memory and passes that RFC 9106, section 4 recommends second: 64 MiB, 3.
_HASHER = PasswordHasher()
# Two at a time: a crowd at the door must not take the memory of a small machine.
_TURN = threading.BoundedSemaphore(2)


def hash_password(password: str) -> str:
    """Return what is kept of a password, in the PHC string format."""
    with _TURN:
        return _HASHER.hash(password)


@cache
def _nobody_s() -> str:
    """Return a hash to check where there is no person, so that the delay does not tell."""
    return hash_password("")


def password_fits(password: str, kept: str | None) -> bool:
    """Tell whether a password is the one whose hash is kept; never without one, as slowly."""
    if len(password) > MOST_CHARACTERS:
        return False
    stored = _nobody_s() if kept is None else kept
    with _TURN:
        try:
            _HASHER.verify(stored, password)
        except (VerificationError, InvalidHashError):
            return False
    return kept is not None


def check_password(password: str, name: str) -> None:
    """Raise UsageError where a password would be too easy to guess."""
    folded, letters = password.casefold(), set(password.casefold())
    if len(password) < LEAST_CHARACTERS:
        raise _refused(f"it has {len(password)} characters")
    if len(password) > MOST_CHARACTERS:
        raise _refused(f"it has {len(password)} characters; {MOST_CHARACTERS} are the most")
    if len(letters) < 5:
        raise _refused("it is made of too few different characters")
    if name.casefold() in folded or "joulebook" in folded:
        raise _refused("it holds a name that stands on the page")


def _refused(why: str) -> UsageError:
    return UsageError(
        f"this password does not do: {why}",
        where="password",
        expected=f"{LEAST_CHARACTERS} or more characters that nobody would guess, as four words",
        next_step="choose another one",
    )
