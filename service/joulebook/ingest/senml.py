"""SenML packs resolved: RFC 8428, with RFC 8798's units and RFC 9100's versions.

What spoils the meaning of other records (a base field, the version, a mandatory label) refuses
the pack; what spoils one record is a fault beside the records that are good.
"""

import base64
import binascii
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

from joulebook.core.quantities import ValueKind
from joulebook.ingest.senml_fields import Fields, PackError, read_fields, write_fields
from joulebook.ingest.wording import shown

#: RFC 8428 §4.5.3: a time below this is relative to now. [s]
RELATIVE_BELOW_S = 2**28

#: RFC 8428 §4.5.1.
LEGAL_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")

#: RFC 9100 writes a version as bits. 10 is RFC 8428 itself, 26 adds secondary units (RFC 8798).
#: Below 10 come RFC 8428's older drafts, whose number its own example carries (5).
_VERSIONS = frozenset({*range(1, 11), 26})

_NUMBERS = ("bt", "bv", "bs", "v", "s", "t", "ut")
_TEXTS = ("bn", "bu", "n", "u", "vs")
_LABELS = frozenset({*_NUMBERS, *_TEXTS, "bver", "vb", "vd"})
_VALUE_LABELS = ("v", "vs", "vb", "vd")

#: What a SenML record can carry; the sum stands apart.
SenmlValue = float | str | bool | bytes | None


@dataclass(frozen=True, slots=True)
class Record:
    """A resolved record. ``value`` is ``None`` where it carries a sum only."""

    number: int  # in the pack, from 1
    name: str
    unit: str  # "" where none was in force
    at_ms: int
    value: SenmlValue
    sum: float | None = None  # unit times seconds

    @property
    def kind(self) -> ValueKind:
        """What a series of such values holds; no series holds data bytes."""
        if isinstance(self.value, bool):
            return "flag"
        return "text" if isinstance(self.value, str) else "number"


@dataclass(frozen=True, slots=True)
class Fault:
    """A record that cannot be used, with a one-record pack that holds what was sent."""

    number: int
    name: str
    reason: str
    detail: str
    payload: bytes


@dataclass(frozen=True, slots=True)
class Pack:
    """The records in order of time (RFC 8428 §4.6), and the faults in order of sending."""

    records: list[Record]
    faults: list[Fault]


def resolve(payload: bytes, received_ms: int) -> Pack:
    """Return the resolved records of a pack.

    Parameters
    ----------
    payload : bytes
        JSON or CBOR, told by the first byte.
    received_ms : int
        What "now" means to relative times. [ms, UTC epoch]

    Raises
    ------
    PackError
        If the pack as a whole is unusable.
    """
    base = _Base()
    records: list[Record] = []
    faults: list[Fault] = []
    for number, fields in enumerate(read_fields(payload), start=1):
        _check_labels(number, fields)
        base.take(number, fields)
        try:
            records.append(base.record(number, fields, received_ms))
        except _RecordError as error:
            name = str(fields.get("n", ""))
            kept = base.resolved(fields)
            faults.append(Fault(number, name, error.reason, str(error), write_fields(kept)))
    records.sort(key=lambda record: record.at_ms)  # stable: equal times stay as sent
    return Pack(records, faults)


def pack_of(record: Record) -> bytes:
    """Return a resolved record as a pack of its own."""
    fields: Fields = {"n": record.name, "t": record.at_ms / 1000}
    if record.unit:
        fields["u"] = record.unit
    value = record.value
    if isinstance(value, bytes):
        fields["vd"] = base64.urlsafe_b64encode(value).rstrip(b"=").decode()
    elif value is not None:
        fields[_LABEL_OF[record.kind]] = value
    if record.sum is not None:
        fields["s"] = record.sum
    return write_fields(fields)


class _RecordError(ValueError):
    """One record is unusable."""

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(detail)
        self.reason = reason


class _Base:
    """The base fields in force: each holds from its record onwards, until it is set again."""

    def __init__(self) -> None:
        self.fields: Fields = {}
        self.version: int | None = None

    def take(self, number: int, fields: Fields) -> None:
        for label in ("bn", "bu"):
            if label in fields:
                if not isinstance(fields[label], str):
                    raise PackError(
                        "field-wrong-type", f"{label} of record {number} is no text; expected text"
                    )
                self.fields[label] = fields[label]
        for label in ("bt", "bv", "bs"):
            if label in fields:
                number_sent = _finite(fields[label])
                if number_sent is None:
                    raise PackError(
                        "field-wrong-type",
                        f"{label} of record {number} is no finite number; expected one",
                    )
                self.fields[label] = number_sent
        if "bver" in fields:
            self._take_version(number, fields["bver"])

    def _take_version(self, number: int, version: object) -> None:
        if type(version) is not int or version not in _VERSIONS:
            raise PackError(
                "version-unsupported",
                f"bver of record {number} is {shown(version)}; expected 10, 26 or less than 10",
            )
        if self.version not in (None, version):
            raise PackError(
                "version-unsupported",
                f"bver changes from {self.version} to {version} in record {number}; "
                "expected one version for the pack",
            )
        self.version = version

    def record(self, number: int, fields: Fields, received_ms: int) -> Record:
        name = self.fields.get("bn", "") + _text(fields, "n")
        if not LEGAL_NAME.fullmatch(name):
            raise _RecordError(
                "name-illegal",
                f"record {number} is named {shown(name)}; expected a letter or digit, then "
                "letters, digits and - : . / _",
            )
        unit = _text(fields, "u") or self.fields.get("bu", "")
        at_ms = self._time(number, name, fields, received_ms)
        value, total = self._value(number, name, fields)
        return Record(number, name, unit, at_ms, value, total)

    def _time(self, number: int, name: str, fields: Fields, received_ms: int) -> int:
        _number(fields, "ut")  # checked and passed over: it promises, and measures nothing
        time_s = self.fields.get("bt", 0.0) + (_number(fields, "t") or 0.0)
        if not abs(time_s) < 1e15:
            raise _RecordError(
                "time-wrong", f"record {number} ({name}) has the time {time_s} s; expected a date"
            )
        return instant_ms(time_s, received_ms)

    def _value(self, number: int, name: str, fields: Fields) -> tuple[SenmlValue, float | None]:
        sent = [label for label in _VALUE_LABELS if label in fields]
        if len(sent) > 1:
            raise _RecordError(
                "value-several",
                f"record {number} ({name}) has {' and '.join(sent)}; expected one value",
            )
        total = _number(fields, "s")
        if total is not None or "bs" in self.fields:
            total = (total or 0.0) + self.fields.get("bs", 0.0)
        value: SenmlValue = None
        if sent == ["v"] or (not sent and total is None and "bv" in self.fields):
            value = (_number(fields, "v") or 0.0) + self.fields.get("bv", 0.0)
        elif sent:
            value = _VALUES[sent[0]](fields)
        if value is None and total is None:
            raise _RecordError(
                "value-missing",
                f"record {number} ({name}) has neither v, vs, vb, vd nor s; expected one",
            )
        return value, total

    def resolved(self, fields: Fields) -> Fields:
        """Return what was sent with the base fields in force: what a quarantine should show."""
        return {**self.fields, **fields}


def instant_ms(time_s: float, received_ms: int) -> int:
    """Return the instant of a SenML time: absolute from 2^28 s on, else relative to receipt."""
    # Doubles of today's dates are exact to 0.24 us, so this rounds to the millisecond meant.
    offset_ms = round(time_s * 1000)
    return offset_ms if time_s >= RELATIVE_BELOW_S else received_ms + offset_ms


def _check_labels(number: int, fields: Fields) -> None:
    for label in fields.keys() - _LABELS:
        if label.endswith("_"):
            raise PackError(
                "field-unknown",
                f"record {number} has the label {shown(label)}, which must be understood "
                "(it ends in _) and is not; expected labels of RFC 8428",
            )


def _text(fields: Fields, label: str) -> str:
    text = fields.get(label, "")
    if not isinstance(text, str):
        raise _RecordError("field-wrong-type", f"{label} is {shown(text)}; expected a text")
    return text


def _number(fields: Fields, label: str) -> float | None:
    if label not in fields:
        return None
    number = _finite(fields[label])
    if number is None:
        sent = fields[label]
        known = isinstance(sent, float | int | Decimal) and not isinstance(sent, bool)
        raise _RecordError(
            "value-not-finite" if known else "field-wrong-type",
            f"{label} is {shown(sent)}; expected a finite number",
        )
    return number


def _finite(sent: object) -> float | None:
    if isinstance(sent, bool) or not isinstance(sent, int | float | Decimal):
        return None
    try:
        number = float(sent)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _words(fields: Fields) -> str:
    words = _text(fields, "vs")
    if not words.isprintable() and any("\ud800" <= letter <= "\udfff" for letter in words):
        raise _RecordError("field-wrong-type", "vs holds half a character; expected whole ones")
    return words


def _flag(fields: Fields) -> bool:
    flag = fields["vb"]
    if not isinstance(flag, bool):
        raise _RecordError("field-wrong-type", f"vb is {shown(flag)}; expected true or false")
    return flag


def _data(fields: Fields) -> bytes:
    data = fields["vd"]
    if isinstance(data, bytes):
        return data
    try:
        # RFC 8428 §4.3: the URL-safe alphabet, padding left out.
        return base64.b64decode(data + "=" * (-len(data) % 4), altchars=b"-_", validate=True)
    except (TypeError, binascii.Error, ValueError) as error:
        raise _RecordError("field-wrong-type", "vd is no base64url text; expected one") from error


_LABEL_OF = {"number": "v", "text": "vs", "flag": "vb"}
_VALUES: dict[str, Callable[[Fields], SenmlValue]] = {"vs": _words, "vb": _flag, "vd": _data}
