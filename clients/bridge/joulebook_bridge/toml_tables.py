"""TOML that a person wrote, read key by key, with the line of what is wrong with it."""

import difflib
import re
import tomllib
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, TypeVar, cast

from joulebook_bridge.errors import WrongError

_HEADER = re.compile(r"\s*(\[\[?)\s*([^\[\]]+?)\s*\]\]?\s*(?:#.*)?")
_KEY = re.compile(r"\s*([A-Za-z0-9_\-]+)\s*=")

TomlPath = tuple[str | int, ...]
_T = TypeVar("_T")
_REQUIRED: Any = object()


def read_toml(path: Path) -> "Table":
    """Return the file's outermost table.

    Raises
    ------
    WrongError
        If the file cannot be read or is no TOML.
    """
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        said = error.strerror if isinstance(error, OSError) else "it is not UTF-8"
        raise WrongError(
            f"the file cannot be read: {said}",
            where=str(path),
            expected="a text file in TOML",
            next_step="check the name; 'joulebook-bridge scan ... --write FILE' writes one",
        ) from error
    return parse_toml(text, str(path))


def parse_toml(text: str, source: str) -> "Table":
    """Return the outermost table of a text; ``source`` is what errors call it."""
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = re.fullmatch(r"(.*) \(at line (\d+), column \d+\)", str(error))
        raise WrongError(
            f"this is not TOML: {found[1] if found else error}",
            where=f"{source}, line {found[2]}" if found else f"{source}, at its end",
            expected='lines such as  unit = "V"  under headings such as  [[reading]]',
            next_step="correct that line",
        ) from error
    return Table(values, source, locate(text), ())


def locate(text: str) -> dict[TomlPath, int]:
    """Return the line on which each table and each key of a TOML text begins.

    For messages only, so it is simple: keys inside of inline tables are not found, and what is
    not found is told by the line of the table around it.
    """
    lines: dict[TomlPath, int] = {(): 1}
    arrays: dict[TomlPath, int] = {}
    table: TomlPath = ()
    for number, line in enumerate(text.splitlines(), start=1):
        if header := _HEADER.fullmatch(line):
            table = ()
            *before, last = [part.strip().strip("\"'") for part in header[2].split(".")]
            for part in before:
                table = (*table, part)
                table = (*table, arrays[table] - 1) if table in arrays else table
            table = (*table, last)
            if header[1] == "[[":
                arrays[table] = arrays.get(table, 0) + 1
                table = (*table, arrays[table] - 1)
            lines[table] = number
        elif key := _KEY.match(line):
            lines.setdefault((*table, key[1]), number)
    return lines


class Table:
    """One table; what is asked of it is checked, and what nobody asked for is refused."""

    def __init__(
        self, values: dict[str, Any], source: str, lines: dict[TomlPath, int], path: TomlPath
    ) -> None:
        self._values = values
        self._source = source
        self._lines = lines
        self._path = path
        self._asked: set[str] = set()

    def __contains__(self, key: str) -> bool:
        return key in self._values

    def where(self, key: str | None = None) -> str:
        """Return the file and line of a key, or of the table."""
        path = self._path if key is None else (*self._path, key)
        while path not in self._lines:
            path = path[:-1]
        return f"{self._source}, line {self._lines[path]}"

    def wrong(self, key: str, what: str, expected: str, next_step: str = "") -> WrongError:
        """Return the error that a key's value is."""
        return WrongError(
            what,
            where=self.where(key),
            expected=expected,
            next_step=next_step or f"correct {key!r} there",
        )

    def text(self, key: str, default: str = _REQUIRED, *, expected: str = "a text") -> str:
        """Return a text. Without a default the key must be there; so with all of these."""
        return self._typed(key, str, default, expected)

    def choice(self, key: str, choices: Sequence[str], default: str = _REQUIRED) -> str:
        """Return one of some words."""
        expected = "one of " + ", ".join(repr(choice) for choice in choices)
        value = self._typed(key, str, default, expected)
        if value not in choices and value is not default:
            raise self.wrong(key, f"{key} is {value!r}", expected, _nearest(value, choices))
        return value

    def whole(self, key: str, low: int, high: int, default: int = _REQUIRED) -> int:
        """Return a whole number from ``low`` to ``high``."""
        expected = f"a whole number from {low} to {high}"
        value = self._typed(key, int, default, expected)
        if value is not default and not low <= value <= high:
            raise self.wrong(key, f"{key} is {value}", expected)
        return value

    def number(
        self, key: str, low: float, high: float, default: int | float = _REQUIRED
    ) -> int | float:
        """Return a number from ``low`` to ``high``; a whole one stays whole."""
        expected = f"a number from {low:g} to {high:g}"
        value: int | float = self._typed(key, (int, float), default, expected)
        if not low <= value <= high:
            raise self.wrong(key, f"{key} is {value}", expected)
        return value

    def whole_numbers(self, key: str, low: int, high: int) -> tuple[int, ...]:
        """Return a list of whole numbers; none where the key is missing."""
        expected = f"whole numbers from {low} to {high}, as [{low}]"
        values: list[Any] = self._typed(key, list, [], expected)
        for value in values:
            if not _is(value, int) or not low <= value <= high:
                raise self.wrong(key, f"{key} has {value!r}", expected)
        return tuple(values)

    def texts(self, key: str) -> dict[str, str]:
        """Return a table of texts; empty where the key is missing."""
        values: dict[str, Any] = self._typed(key, dict, {}, "a table of texts")
        for name, value in values.items():
            if not isinstance(value, str):
                raise self.wrong(key, f"{key}.{name} is {value!r}", "a text")
        return values

    def table(self, key: str) -> "Table":
        """Return a table; an empty one where the key is missing."""
        values = self._typed(key, dict, {}, f"a table [{key}]")
        return Table(values, self._source, self._lines, (*self._path, key))

    def tables(self, key: str) -> "list[Table]":
        """Return an array of tables; none where the key is missing."""
        expected = f"tables [[{key}]]"
        values = self._typed(key, list, [], expected)
        for value in values:
            if not isinstance(value, dict):
                raise self.wrong(key, f"{key} has {value!r}", expected)
        return [
            Table(value, self._source, self._lines, (*self._path, key, place))
            for place, value in enumerate(values)
        ]

    def named_tables(self) -> "dict[str, Table]":
        """Return all tables in this one by their names."""
        return {key: self.table(key) for key in self._values}

    def nothing_else(self) -> None:
        """Refuse keys that nobody asked for.

        Raises
        ------
        WrongError
            With the key that was probably meant.
        """
        for key in self._values:
            if key not in self._asked:
                raise WrongError(
                    f"unknown key {key!r}",
                    where=self.where(key),
                    expected="one of " + ", ".join(sorted(self._asked)),
                    next_step=_nearest(key, self._asked),
                )

    def _typed(
        self, key: str, kind: type[_T] | tuple[type, ...], default: Any, expected: str
    ) -> _T:
        self._asked.add(key)
        if key not in self._values:
            if default is _REQUIRED:
                raise WrongError(
                    f"{key!r} is missing",
                    where=self.where(),
                    expected=expected,
                    next_step=f"add  {key} = ...  below that line",
                )
            return cast(_T, default)
        found = self._values[key]
        if not _is(found, kind):
            raise self.wrong(key, f"{key} is {found!r}", expected)
        return cast(_T, found)


def _is(value: object, kind: type | tuple[type, ...]) -> bool:
    # In Python a flag is a whole number too; here it is not.
    return isinstance(value, kind) and not isinstance(value, bool)


def _nearest(word: str, words: Iterable[str]) -> str:
    close = difflib.get_close_matches(word, sorted(words), n=1)
    return f"did you mean {close[0]!r}?" if close else "take one of those"
