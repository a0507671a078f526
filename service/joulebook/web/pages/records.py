"""What the pages of a site's whole record begin with."""

from contextlib import closing

from joulebook.storage.quarantine import quarantine_count
from joulebook.storage.reading import readings_span
from joulebook.storage.records import Site
from joulebook.summaries.numbers import Document
from joulebook.web.backing import Backing


def record_page(
    backing: Backing, site: Site, template: str, *, record: Document | None = None, **shown: object
) -> str:
    """Return a page of the record; ``record`` is what a document says of the analysis."""
    known = record or {}
    with closing(backing.database.connect()) as connection:
        set_aside = quarantine_count(connection, site.id)
    return backing.render(
        template,
        site=site,
        set_aside=set_aside,
        data_dir=backing.database.data_dir,
        unanalysed=known.get("reason"),
        read_series=known.get("inputs", []),
        **shown,
    )


def has_readings(backing: Backing, site: Site) -> bool:
    """Tell whether a site has any reading."""
    with closing(backing.database.connect()) as connection:
        return readings_span(connection, site.id) is not None
