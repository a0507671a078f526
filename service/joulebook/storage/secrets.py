"""Secrets of 256 random bits: given out once, and kept as their hash."""

import hashlib
import secrets


def new_secret() -> str:
    """Return a secret that fits into a link and a header."""
    return secrets.token_urlsafe(32)


def hash_of(secret: str) -> bytes:
    """Return what is kept of a secret.

    A fast hash is right here: the secret has 256 random bits, so nobody can guess it from its
    hash, and a slow one would only let strangers keep the processor busy. Looking a hash up in
    an index takes no constant time, and tells of the hash alone.
    """
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).digest()
