"""The name and secret that a program sends with each request."""

import base64

#: A header longer than this holds no token of ours. [character]
_LONGEST = 400


def credentials_of(header: str) -> tuple[str | None, str] | None:
    """Return name and secret of HTTP Basic (RFC 7617), or a Bearer's (RFC 6750) secret alone.

    ``None`` where the header holds neither.
    """
    if len(header) > _LONGEST:
        return None
    scheme, _, given = header.partition(" ")
    if scheme.lower() == "bearer":
        return None, given.strip()
    if scheme.lower() != "basic":
        return None
    try:
        name, colon, secret = base64.b64decode(given.strip(), validate=True).decode().partition(":")
    except ValueError:  # no base64, not even ASCII, or no UTF-8 inside
        return None
    return (name, secret) if colon else None
