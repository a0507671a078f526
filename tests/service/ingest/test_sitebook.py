from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from joulebook.ingest.sitebook import ASK_AGAIN_S, SiteBook
from joulebook.storage.catalogue import add_site
from tests.helpers.databases import studio


def test_sites_are_found_by_name_and_id(tmp_path: Path) -> None:
    database, site = studio(tmp_path)
    book = SiteBook(database)
    assert not book.knows(site.id)
    assert book.zone_of(site.id) == ZoneInfo("Europe/Lisbon")
    assert book.knows(site.id)
    assert book.id_of("studio") == site.id
    assert book.id_of("barn") is None
    with pytest.raises(KeyError):
        book.zone_of(site.id + 1)
    database.close()


def test_a_new_site_is_found_within_a_second_and_strangers_ask_no_more_often(
    tmp_path: Path,
) -> None:
    now_s = 100.0
    database, _ = studio(tmp_path)
    book = SiteBook(database, monotonic_s=lambda: now_s)
    assert book.id_of("barn") is None
    barn = add_site(database, "barn", "Asia/Kathmandu")
    assert book.id_of("barn") is None
    now_s += ASK_AGAIN_S
    assert book.id_of("barn") == barn.id
    assert book.zone_of(barn.id) == ZoneInfo("Asia/Kathmandu")
    database.close()
