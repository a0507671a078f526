from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.core.checks.finding import METHOD
from joulebook.storage.database import Connection
from joulebook.storage.record_results import result_stamp, save_record_result
from joulebook.storage.records import Site
from joulebook.summaries.checks_kept import CHECKS_NAME, Trouble, keep_trouble, kept_trouble
from joulebook.summaries.numbers import Document
from tests.helpers.databases import studio


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[tuple[Connection, Site]]:
    database, site = studio(tmp_path)
    with closing(database.connect()) as connection:
        yield connection, site
    database.close()


def found(verdict: str, sentence: str = "it is turned around") -> Document:
    return {
        "checks": [
            {"name": "sign", "device": "grid", "verdict": verdict, "sentence": sentence},
            {"name": "noon", "device": None, "verdict": "good", "sentence": "it stands at noon"},
        ]
    }


def test_what_found_trouble_is_kept_until_it_is_mended(kept: tuple[Connection, Site]) -> None:
    connection, site = kept
    assert kept_trouble(connection, site.id) == []
    keep_trouble(connection, site, found("trouble"), now_ms=1)
    assert kept_trouble(connection, site.id) == [Trouble("sign", "grid", "it is turned around")]
    keep_trouble(connection, site, found("good"), now_ms=2)
    assert kept_trouble(connection, site.id) == []
    stamp = result_stamp(connection, site.id, CHECKS_NAME)
    assert stamp is not None
    assert stamp.computed_ms == 2


def test_the_same_trouble_is_written_once(kept: tuple[Connection, Site]) -> None:
    connection, site = kept
    keep_trouble(connection, site, found("good"), now_ms=1)
    assert result_stamp(connection, site.id, CHECKS_NAME) is None
    keep_trouble(connection, site, found("trouble"), now_ms=2)
    keep_trouble(connection, site, found("trouble", "by 3 W now"), now_ms=3)
    stamp = result_stamp(connection, site.id, CHECKS_NAME)
    assert stamp is not None
    assert stamp.computed_ms == 2


def test_what_another_method_found_is_not_known(kept: tuple[Connection, Site]) -> None:
    connection, site = kept
    save_record_result(
        *(connection, site.id, CHECKS_NAME, f"{METHOD}0", b"[1]"), mark=0, computed_ms=1
    )
    assert kept_trouble(connection, site.id) == []
