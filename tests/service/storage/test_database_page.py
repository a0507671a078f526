"""What ``docs/database.md`` says of the tables, tried on the saved database."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from joulebook.storage.database import Database
from joulebook.storage.series import MAX_SERIES
from tests.service.storage.saved_database import load

pytestmark = pytest.mark.on_a_file

PAGE = (Path(__file__).parents[3] / "docs" / "database.md").read_text(encoding="utf-8")
QUERIES = re.findall(r"```sql\n(.*?)```", PAGE, flags=re.DOTALL)


def test_the_page_lists_the_tables_that_there_are(database: Database) -> None:
    listed = re.findall(r"^\| `(\w+)` \|", PAGE, flags=re.MULTILINE)
    with closing(database.connect()) as connection:
        tables = connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")
        assert sorted(listed) == sorted(name for (name,) in tables)


def test_the_page_s_limits_are_ours() -> None:
    assert f"may have {MAX_SERIES} series" in " ".join(PAGE.split())


@pytest.mark.parametrize("query", QUERIES)
def test_the_page_s_queries_find_something_read_only(tmp_path: Path, query: str) -> None:
    path = load(tmp_path)
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as connection:
        assert connection.execute(query).fetchall() != []


def test_there_are_queries_to_try() -> None:
    assert len(QUERIES) == 4
