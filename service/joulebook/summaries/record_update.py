"""Keeps the analysis of a site's whole record, and what pages show of it, up to date."""

from collections.abc import Callable
from contextlib import closing

from joulebook.core.records.record import RECORD_METHOD
from joulebook.storage.database import Database, transaction
from joulebook.storage.record_results import record_mark, save_record_result
from joulebook.storage.records import Site
from joulebook.summaries.page_documents import page_documents
from joulebook.summaries.site_records import (
    RECORD_NAME,
    StoredRecord,
    analysed,
    encoded_document,
    entered_digest,
    plain_document,
    stored_record,
)


def update_record(
    database: Database, site: Site, *, clock_ms: Callable[[], int], max_gap_s: float
) -> None:
    """Compute and store a site's analysis and the pages' documents, if what is stored is behind."""
    with closing(database.connect()) as connection:
        stored = stored_record(connection, site, parts=())
        if stored is not None and not stored.behind:
            return
        mark = record_mark(connection, site.id)
        entered = entered_digest(connection, site)
        document = analysed(connection, site, max_gap_s=max_gap_s) | {"entered": entered}
        computed_ms = clock_ms()
        record = StoredRecord(
            document=plain_document(document),
            computed_ms=computed_ms,
            behind=False,
            entered_anew=False,
        )
        packed = {
            name: encoded_document(made)
            for name, made in {
                RECORD_NAME: document,
                **page_documents(database, site, record),
            }.items()
        }
        with transaction(connection, [site.id]):
            for name, result in packed.items():
                save_record_result(
                    *(connection, site.id, name, RECORD_METHOD, result),
                    mark=mark,
                    computed_ms=computed_ms,
                )
