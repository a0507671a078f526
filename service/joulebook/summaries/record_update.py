"""Keeps the analysis of a site's whole record, and what pages show of it, up to date."""

from collections.abc import Callable
from contextlib import closing

from joulebook.core.records.record import RECORD_METHOD
from joulebook.storage.database import Database, transaction
from joulebook.storage.record_results import record_mark, record_result, save_record_result
from joulebook.storage.records import Site
from joulebook.summaries.page_documents import page_documents
from joulebook.summaries.records_due import ENTERED_NAME, entered_digest, is_of
from joulebook.summaries.site_records import (
    RECORD_NAME,
    StoredRecord,
    analysed,
    encoded_document,
    plain_document,
)


def update_record(
    database: Database, site: Site, *, clock_ms: Callable[[], int], max_gap_s: float
) -> None:
    """Compute and store a site's analysis and the pages' documents, if what is stored is behind."""
    with closing(database.connect()) as connection:
        mark = record_mark(connection, site.id)
        entered = entered_digest(connection, site)
        stored = record_result(connection, site.id, ENTERED_NAME)
        if is_of(stored, entered) and stored is not None and not stored.behind:
            return
        document = analysed(connection, site, max_gap_s=max_gap_s)
        computed_ms = clock_ms()
        record = StoredRecord(
            document=plain_document(document),
            computed_ms=computed_ms,
            behind=False,
        )
        documents = {RECORD_NAME: document, **page_documents(database, site, record)}
        packed = {name: encoded_document(made) for name, made in documents.items()}
        packed[ENTERED_NAME] = entered
        with transaction(connection, [site.id]):
            for name, result in packed.items():
                save_record_result(
                    *(connection, site.id, name, RECORD_METHOD, result),
                    mark=mark,
                    computed_ms=computed_ms,
                )
