import pytest

from joulebook.storage.audit import Audited, audit_log, note_change
from joulebook.storage.database import Connection, transaction


def change(number: int, site: str | None = "studio") -> Audited:
    return Audited(at_ms=number, who="Ada", site=site, action="add event", detail=f"{number}")


def test_the_newest_comes_first_a_page_at_a_time(connection: Connection) -> None:
    for number in range(5):
        note_change(connection, change(number))
    note_change(connection, change(5, site=None))
    assert [one.at_ms for one in audit_log(connection)] == [5, 4, 3, 2, 1, 0]
    assert [one.at_ms for one in audit_log(connection, most=2, skip=1)] == [4, 3]
    assert audit_log(connection, site="studio", most=1) == [change(4)]
    assert audit_log(connection, site="barn") == []


def test_it_is_noted_with_the_change_or_not_at_all(connection: Connection) -> None:
    def fails() -> None:
        with transaction(connection):
            note_change(connection, change(1))
            raise ArithmeticError

    with pytest.raises(ArithmeticError):
        fails()
    assert audit_log(connection) == []


def test_a_long_detail_is_cut(connection: Connection) -> None:
    note_change(connection, Audited(at_ms=1, who="Ada", site=None, action="x", detail="y" * 501))
    assert audit_log(connection)[0].detail == "y" * 500
