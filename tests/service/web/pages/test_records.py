from contextlib import closing

import pytest

from joulebook.storage.database import transaction
from joulebook.storage.quarantine import put_aside
from joulebook.storage.records import Refused
from tests.helpers.pages import NOW_MS, Studio, words_of


@pytest.mark.parametrize("page", ["efficiency", "wear", "warranty"])
def test_what_was_set_aside_is_counted_in_the_top_row(empty: Studio, page: str) -> None:
    refused = Refused(
        site_id=empty.site.id,
        source="garage",
        topic="joulebook/v1/studio/battery",
        payload=b"{}",
        reason="time-ahead",
        detail="power is dated 2033",
        received_ms=NOW_MS,
    )
    with closing(empty.database.connect()) as connection, transaction(connection):
        put_aside(connection, [refused])
    text = words_of(empty.client.get(f"/sites/studio/{page}").text)
    assert "Set aside 1" in text
