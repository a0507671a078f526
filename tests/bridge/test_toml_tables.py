from pathlib import Path

import pytest

from joulebook_bridge.errors import WrongError
from joulebook_bridge.toml_tables import Table, locate, parse_toml, read_toml

TEXT = """\
name = "one"

[spool]
most_mb = 5

[[line]]
url = "tcp://h"
  [[line.unit]]
  number = 1
  [[line.unit]]
  number = 2
[[line]]
url = "tcp://i"
  [[line.unit]]   # with a word
  number = 3
[map."a b".groups]
fast.every_s = 1
"""


def test_tables_and_keys_are_found_on_their_lines() -> None:
    lines = locate(TEXT)
    assert lines["name",] == 1
    assert lines["spool", "most_mb"] == 4
    assert lines["line", 0, "unit", 1, "number"] == 11
    assert lines["line", 1, "unit", 0] == 14
    assert lines["line", 1, "unit", 0, "number"] == 15
    assert lines["map", "a b", "groups"] == 16


def wrong(table: Table, ask: str, *arguments: object, **named: object) -> WrongError:
    with pytest.raises(WrongError) as refused:
        getattr(table, ask)(*arguments, **named)
    return refused.value


def test_a_wrong_value_is_told_with_file_line_and_expectation() -> None:
    table = parse_toml('a = 1\nb = "x"\nc = 200\n', "bridge.toml")
    error = wrong(table, "text", "a")
    assert error.where == "bridge.toml, line 1"
    assert error.what == "a is 1"
    assert error.expected == "a text"
    assert error.next_step == "correct 'a' there"
    error = wrong(table, "whole", "c", 0, 100)
    assert (error.where, error.what) == ("bridge.toml, line 3", "c is 200")
    assert error.expected == "a whole number from 0 to 100"
    assert wrong(table, "number", "b", 0, 1).what == "b is 'x'"
    assert wrong(table, "number", "c", 0, 1).expected == "a number from 0 to 1"


def test_a_missing_key_is_told_at_its_table() -> None:
    [line] = parse_toml("\n[[line]]\n", "f").tables("line")
    error = wrong(line, "text", "url", expected="an address")
    assert error.where == "f, line 2"
    assert error.what == "'url' is missing"
    assert error.expected == "an address"


def test_a_misspelt_word_or_key_is_guessed() -> None:
    table = parse_toml('when_full = "drop old"\nmost = 1\n', "f")
    error = wrong(table, "choice", "when_full", ("drop oldest", "stop"))
    assert error.next_step == "did you mean 'drop oldest'?"
    error = wrong(table, "nothing_else")
    assert error.what == "unknown key 'most'"
    assert error.expected == "one of when_full"
    assert error.next_step == "take one of those"


def test_defaults_are_taken_where_nothing_is_said() -> None:
    table = parse_toml("", "f")
    assert table.text("a", "x") == "x"
    assert table.choice("b", ("p", "q"), "p") == "p"
    assert table.whole("c", 0, 9, 3) == 3
    assert table.number("d", 0, 9, 0.5) == 0.5
    assert table.whole_numbers("e", 0, 9) == ()
    assert table.texts("f") == {}
    assert table.tables("g") == []
    assert table.table("h").named_tables() == {}
    table.nothing_else()


def test_lists_and_tables_are_what_they_should_be() -> None:
    table = parse_toml("a = [1, 300]\nb = [true]\nc = [1]\n[d]\ne = 5\n", "f")
    assert wrong(table, "whole_numbers", "a", 0, 255).what == "a has 300"
    assert wrong(table, "whole_numbers", "b", 0, 255).what == "b has True"
    assert wrong(table, "tables", "c").what == "c has 1"
    assert wrong(table, "texts", "d").what == "d.e is 5"
    assert "c" in table
    assert wrong(parse_toml("a = true\n", "f"), "whole", "a", 0, 1).what == "a is True"


def test_what_is_inside_of_an_inline_table_is_told_by_the_line_around_it() -> None:
    table = parse_toml('x = 1\ngroups = { fast = { every_s = "often" } }\n', "f")
    fast = table.table("groups").table("fast")
    assert wrong(fast, "number", "every_s", 0, 1).where == "f, line 2"


def test_a_text_that_is_no_toml() -> None:
    with pytest.raises(WrongError, match="this is not TOML") as refused:
        parse_toml("a = \n", "bridge.toml")
    assert refused.value.where == "bridge.toml, line 1"
    with pytest.raises(WrongError) as refused:
        parse_toml("a = [1,", "bridge.toml")
    assert refused.value.where == "bridge.toml, at its end"


def test_a_file_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(WrongError, match="No such file"):
        read_toml(tmp_path / "none.toml")
    (tmp_path / "latin.toml").write_bytes(b"name = '\xe9'")
    with pytest.raises(WrongError, match="it is not UTF-8"):
        read_toml(tmp_path / "latin.toml")
    (tmp_path / "good.toml").write_text("a = 1")
    assert read_toml(tmp_path / "good.toml").whole("a", 0, 1) == 1
