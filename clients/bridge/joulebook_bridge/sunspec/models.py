"""What each word of a model is, by SunSpec's own definitions as pysunspec2 carries them."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import as_file, files
from typing import Any

from sunspec2 import mdef

from joulebook_bridge.modbus.numbers import Meaning, NumberType, signed
from joulebook_bridge.sunspec.walk import Model

#: Type: how it lies in registers, and the number that says that it is not implemented.
_TYPES: Mapping[str, tuple[str, int | None]] = {
    "int16": ("s16", -0x8000),
    "uint16": ("u16", 0xFFFF),
    "count": ("u16", 0xFFFF),
    "enum16": ("u16", 0xFFFF),
    "bitfield16": ("u16", 0xFFFF),
    "acc16": ("u16", 0),
    "int32": ("s32", -0x8000_0000),
    "uint32": ("u32", 0xFFFF_FFFF),
    "enum32": ("u32", 0xFFFF_FFFF),
    "bitfield32": ("u32", 0xFFFF_FFFF),
    "acc32": ("u32", 0),
    "int64": ("s64", -0x8000_0000_0000_0000),
    "uint64": ("u64", 0xFFFF_FFFF_FFFF_FFFF),
    "acc64": ("u64", 0),
    "float32": ("f32", None),  # its mark is no number in itself
    "float64": ("f64", None),
    "sunssf": ("s16", -0x8000),
}
_NO_SCALE = -0x8000


@dataclass(frozen=True, slots=True)
class Point:
    """One value of a model.

    Attributes
    ----------
    name : str
        As SunSpec calls it, with the number of its group before it: ``Prt[1].DCA``.
    offset : int
        Its place, counted from the model's number, which is 0.
    scale_offset : int or None
        The place of its power of ten.
    symbols : mapping
        Words for the numbers of an enumeration.
    """

    name: str
    type: str
    offset: int
    size: int
    scale_offset: int | None
    symbols: Mapping[int, str]

    @property
    def number(self) -> NumberType:
        """How it lies in registers."""
        return NumberType(_TYPES[self.type][0])

    @property
    def not_available(self) -> tuple[int, ...]:
        """The numbers that stand for "not implemented"."""
        mark = _TYPES[self.type][1]
        return () if mark is None else (mark,)


def definition(model_id: int) -> dict[str, Any] | None:
    """Return SunSpec's definition of a model; ``None`` where pysunspec2 has none."""
    return _definition(model_id)


@cache
def _definition(model_id: int) -> dict[str, Any] | None:
    # Read from inside the package: its own search would look into the current directory first.
    folder = files("sunspec2") / "models" / "json"
    with as_file(folder / mdef.to_json_filename(str(model_id))) as path:
        if not path.exists():
            return None
        found: dict[str, Any] = mdef.from_json_file(str(path))
        return found


def label(model_id: int) -> str:
    """Return what SunSpec calls a model."""
    found = definition(model_id)
    return found["group"].get("label", found["group"]["name"]) if found else "unknown model"


def points(model: Model) -> dict[str, Point]:
    """Return the points that a model has, by name; none for a model without definition."""
    found = definition(model.id)
    if found is None:
        return {}
    return {point.name: point for point in _Layout(model).of(found["group"])}


class _Layout:
    """Lays a definition over the words of one model: groups repeat as often as the words say."""

    def __init__(self, model: Model) -> None:
        self._words = model.words
        self._at = 0
        self._scales: dict[str, int] = {}
        self._counts: dict[str, int] = {}

    def of(self, group: dict[str, Any], prefix: str = "") -> Iterator[Point]:
        # Scale factors may come after what they scale.
        place = self._at
        for point in group["points"]:
            if point["type"] == "sunssf":
                self._scales[point["name"]] = place
            place += point["size"]
        for point in group["points"]:
            if self._at + point["size"] > len(self._words):
                return  # an older edition of the model, which ends sooner
            yield self._point(point, prefix)
            self._at += point["size"]
        for inner in group.get("groups", []):
            for number in range(1, self._times(inner) + 1):
                yield from self.of(inner, f"{prefix}{inner['name']}[{number}].")

    def _point(self, point: dict[str, Any], prefix: str) -> Point:
        words = self._words[self._at : self._at + point["size"]]
        if point["size"] == 1 and point["type"] in ("uint16", "count"):
            self._counts[point["name"]] = 0 if words[0] == 0xFFFF else words[0]
        scale = point.get("sf")
        return Point(
            prefix + point["name"],
            point["type"],
            self._at,
            point["size"],
            self._scales.get(scale) if isinstance(scale, str) else None,
            {symbol["value"]: symbol["name"] for symbol in point.get("symbols", [])},
        )

    def _times(self, group: dict[str, Any]) -> int:
        count = group.get("count", 1)
        if isinstance(count, str):
            return self._counts.get(count, 0)
        if count:
            return int(count)
        # As often as there is room: what is left, by the size of one.
        size: int = sum(point["size"] for point in group["points"])
        return (len(self._words) - self._at) // size


def value(model: Model, point: Point) -> float | None:
    """Return a number of a model as it was found; ``None`` where it is not implemented.

    Where the power of ten itself is not implemented there is no value: nobody could say of which
    size it is.
    """
    if point.type not in _TYPES or not is_scaled(model, point):
        return None
    words = model.words[point.offset : point.offset + point.size]
    scale = None if point.scale_offset is None else model.words[point.scale_offset]
    return Meaning(point.number, not_available=point.not_available).value(words, scale)


def is_scaled(model: Model, point: Point) -> bool:
    """Tell whether the power of ten of a point, where it has one, is there and implemented."""
    place = point.scale_offset
    if place is None:
        return True
    return place < len(model.words) and signed(model.words[place]) != _NO_SCALE


def text(model: Model, point: Point) -> str:
    """Return a text of a model, empty where it is not implemented."""
    words = model.words[point.offset : point.offset + point.size]
    data = b"".join(word.to_bytes(2, "big") for word in words)
    said = data.partition(b"\0")[0].decode("utf-8", errors="replace").strip()
    return "".join(letter for letter in said if letter.isprintable())
