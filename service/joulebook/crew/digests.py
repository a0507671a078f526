"""A digest of all that is stored of what was computed for a home: equal results, equal digests."""

import hashlib
from contextlib import closing

import msgspec

from joulebook.storage.database import Database
from joulebook.storage.days import day_results
from joulebook.storage.record_results import record_result
from joulebook.storage.records import Site
from joulebook.summaries.results import json_of
from joulebook.summaries.site_records import RECORD_NAME

#: Stored with the analysis of the whole record; those without a record have none.
_DOCUMENTS = (RECORD_NAME, "wear", "nights", "efficiency")
#: When it was computed: told in the document for the page, and no part of the result.
_WHEN = "computed_ms"


def digest_of(database: Database, site: Site) -> str:
    """Return the SHA-256 (FIPS 180-4) over every stored result of a site, in hexadecimal.

    It is taken over what is compressed, not over its compressed form: libraries of other machines
    may pack the same bytes otherwise.
    """
    digest = hashlib.sha256()

    def take(name: object, method: str, plain: bytes) -> None:
        # With its length before it, no two lists of parts can read alike.
        digest.update(f"{name} {method} {len(plain)}\n".encode())
        digest.update(plain)

    with closing(database.connect()) as connection:
        for day, method, result in day_results(connection, site.id, None, None):
            take(day, method, json_of(result))
        for name in _DOCUMENTS:
            found = record_result(connection, site.id, name)
            if found is not None:
                take(name, found.method, _without_when(json_of(found.result)))
    return digest.hexdigest()


def _without_when(plain: bytes) -> bytes:
    """Return a document without the instant at which it was computed."""
    document = msgspec.json.decode(plain)
    if isinstance(document, dict) and isinstance(document.get("record"), dict):
        document["record"].pop(_WHEN, None)
    return msgspec.json.encode(document)
