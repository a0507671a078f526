"""Mapping files: TOML in, rules out, or an error that names file, line and what was expected."""

import tomllib
from collections.abc import Collection, Mapping
from decimal import Decimal
from pathlib import Path as FilePath
from typing import Any

from joulebook.errors import UsageError
from joulebook.ingest.mapping.filters import levels_taken
from joulebook.ingest.mapping.places import Path, Places
from joulebook.ingest.mapping.pointer import PointerError, parse_pointer
from joulebook.ingest.mapping.rules import MappingRule, ReadingRule, TimeForm
from joulebook.ingest.mqtt.fields import filter_is_valid
from joulebook.ingest.topics import NAME, NAME_RULE, PREFIX
from joulebook.ingest.units import is_registered

#: Folder of a data directory that holds mapping files.
MAPPINGS = "mappings"

_TIME_FORMS: Mapping[str, TimeForm] = {
    "seconds": "seconds",
    "milliseconds": "milliseconds",
    "text": "text",
}
_MAPPING_KEYS = ("topic", "site", "device", "time", "time_form", "reading")
_READING_KEYS = ("quantity", "pointer", "unit", "scale", "turn_sign", "missing")
#: What the house reads besides the registered units; see ``docs/wire-format.md``.
_HOUSE_UNITS = ("%", "%EL", "K")


def load_mappings(folder: FilePath) -> tuple[MappingRule, ...]:
    """Return the rules of all ``*.toml`` files of a folder, by name; none where it is absent.

    Raises
    ------
    UsageError
        At the first mistake.
    """
    return tuple(rule for file in sorted(folder.glob("*.toml")) for rule in read_mappings(file))


def read_mappings(file: FilePath) -> tuple[MappingRule, ...]:
    """Return the rules of one file.

    Raises
    ------
    UsageError
        At the first mistake, with its line.
    """
    return parse_mappings(_text_of(file), str(file))


def _text_of(file: FilePath) -> str:
    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(
            f"cannot read the mapping file: {error}",
            where=file,
            expected="a text file in UTF-8 that this user may read",
            next_step="mend it, or move it away",
        ) from error


def parse_mappings(text: str, name: str) -> tuple[MappingRule, ...]:
    """Return the rules that a mapping file's text holds.

    Parameters
    ----------
    name : str
        Of the file, for errors.

    Raises
    ------
    UsageError
        At the first mistake, with its line.
    """
    try:
        document = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(
            f"not TOML: {error}",
            where=name,
            expected="tables that begin with [[mapping]]",
            next_step="mend the line; docs/mapping.md shows a whole file",
        ) from error
    return _Checker(name, Places(text)).rules(document)


class _Checker:
    """Checks one file; every complaint knows its line."""

    def __init__(self, name: str, places: Places) -> None:
        self._name = name
        self._places = places

    def rules(self, document: Mapping[str, Any]) -> tuple[MappingRule, ...]:
        self._only((), document, ("mapping",))
        tables = document.get("mapping")
        if not isinstance(tables, list) or not tables:
            raise self._wrong((), None, "the file has no [[mapping]]", "one at least")
        return tuple(self._rule((("mapping", n),), table) for n, table in enumerate(tables))

    def _rule(self, at: Path, table: Mapping[str, Any]) -> MappingRule:
        self._only(at, table, _MAPPING_KEYS)
        topic = self._text(at, table, "topic")
        if not filter_is_valid(topic):
            raise self._wrong(
                at, "topic", f"{topic!r} is no topic filter", "+ for a level, # for the rest"
            )
        if topic.startswith(PREFIX):
            raise self._wrong(at, "topic", f"{topic!r} is a topic of ours", "another bridge's")
        readings = table.get("reading")
        if not isinstance(readings, list) or not readings:
            raise self._wrong(at, "reading", "no [[mapping.reading]]", "one at least")
        form = self._text(at, table, "time_form", "seconds")
        if form not in _TIME_FORMS:
            raise self._wrong(at, "time_form", f"{form!r}", "one of " + ", ".join(_TIME_FORMS))
        return MappingRule(
            topic=topic,
            site=self._named(at, table, "site"),
            device=self._device(at, table, topic),
            time=self._pointer(at, table, "time") if "time" in table else None,
            time_form=_TIME_FORMS[form],
            readings=tuple(
                self._reading((*at, ("reading", n)), one) for n, one in enumerate(readings)
            ),
        )

    def _reading(self, at: Path, table: Mapping[str, Any]) -> ReadingRule:
        self._only(at, table, _READING_KEYS)
        unit = self._text(at, table, "unit", "")
        if unit and not (is_registered(unit) or unit in _HOUSE_UNITS):
            raise self._wrong(at, "unit", f"{unit!r} is no unit", "one of RFC 8428 or RFC 8798")
        scale = table.get("scale", 1)
        if isinstance(scale, bool) or not isinstance(scale, int | Decimal) or not scale:
            raise self._wrong(at, "scale", f"{scale!r}", "a number that is not 0")
        turned = table.get("turn_sign", False)
        if not isinstance(turned, bool):
            raise self._wrong(at, "turn_sign", f"{turned!r}", "true or false")
        missing = table.get("missing", [])
        if not isinstance(missing, list) or not all(_is_plain(one) for one in missing):
            raise self._wrong(at, "missing", f"{missing!r}", "a list of numbers, texts or flags")
        return ReadingRule(
            quantity=self._named(at, table, "quantity", underscores=True),
            at=self._pointer(at, table, "pointer") if "pointer" in table else (),
            unit=unit,
            scale=-Decimal(scale) if turned else Decimal(scale),
            missing=tuple(one if isinstance(one, str | bool) else Decimal(one) for one in missing),
        )

    def _device(self, at: Path, table: Mapping[str, Any], topic: str) -> str:
        device = self._text(at, table, "device")
        trial = levels_taken(topic, topic) or []
        for number in range(1, len(trial) + 1):
            device = device.replace(f"{{{number}}}", "x")
        if not NAME.fullmatch(device):
            raise self._wrong(at, "device", f"{table['device']!r} names no device", NAME_RULE)
        return self._text(at, table, "device")

    def _named(
        self, at: Path, table: Mapping[str, Any], key: str, *, underscores: bool = False
    ) -> str:
        name = self._text(at, table, key)
        if not NAME.fullmatch(name.replace("_", "-") if underscores else name):
            rule = NAME_RULE + (", or '_'" if underscores else "")
            raise self._wrong(at, key, f"{name!r} cannot be a {key}", rule)
        return name

    def _pointer(self, at: Path, table: Mapping[str, Any], key: str) -> tuple[str, ...]:
        try:
            return parse_pointer(self._text(at, table, key))
        except PointerError as error:
            raise self._wrong(
                at, key, str(error), "a JSON Pointer such as /meter/0/watts"
            ) from None

    def _text(
        self, at: Path, table: Mapping[str, Any], key: str, otherwise: str | None = None
    ) -> str:
        value = table.get(key, otherwise)
        if not isinstance(value, str):
            said = "there is no" if value is None else f"{value!r} is no text for"
            raise self._wrong(at, key, f"{said} {key}", "a text in quotes")
        return value

    def _only(self, at: Path, table: Any, keys: Collection[str]) -> None:
        if not isinstance(table, dict):
            raise self._wrong(at, None, f"{table!r}", "a table")
        for key in table:
            if key not in keys:
                raise self._wrong(at, key, f"unknown key {key!r}", "one of " + ", ".join(keys))

    def _wrong(self, at: Path, key: str | None, what: str, expected: str) -> UsageError:
        return UsageError(
            f"the mapping cannot be used: {what}",
            where=f"{self._name}, line {self._places.line(at, key)}",
            expected=expected,
            next_step="mend it and try it with 'joulebook mapping try'; see docs/mapping.md",
        )


def _is_plain(value: object) -> bool:
    return isinstance(value, str | bool | int | Decimal)
