import pytest

from joulebook.errors import (
    DataRefusedError,
    JoulebookError,
    SchemaError,
    UnavailableError,
    UsageError,
)


def test_an_error_prints_what_where_expected_and_next() -> None:
    error = UsageError("bad name", where="site", expected="letters", next_step="choose another")
    assert str(error).splitlines() == [
        "bad name",
        "  where:    site",
        "  expected: letters",
        "  next:     choose another",
    ]


@pytest.mark.parametrize(
    ("kind", "status"),
    [(UsageError, 2), (UnavailableError, 3), (DataRefusedError, 4), (SchemaError, 4)],
)
def test_each_kind_has_its_exit_status(kind: type[JoulebookError], status: int) -> None:
    assert kind("x", where="y", expected="z", next_step="n").exit_status == status
