"""SenML packs resolved: RFC 8428, with RFC 8798's units and RFC 9100's versions.

What spoils the meaning of other records (a base field, the version, a mandatory label) refuses
the pack; what spoils one record is a fault beside the records that are good.
"""

import base64
import re
from dataclasses import dataclass

from joulebook.core.quantities import ValueKind
from joulebook.ingest.senml_fields import LABELS, Fields, PackError, read_fields, write_fields
from joulebook.ingest.senml_values import (
    VALUES,
    RecordError,
    SenmlValue,
    finite,
    number_of,
    text_of,
)
from joulebook.ingest.wording import shown

#: RFC 8428 §4.5.3: a time below this is relative to now. [s]
RELATIVE_BELOW_S = 2**28

#: Beyond this a time is no date, and milliseconds would no longer be whole. [s]
MOST_TIME_S = 1e12

#: RFC 8428 §4.5.1.
LEGAL_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")

#: RFC 9100 writes a version as bits. 10 is RFC 8428 itself, 26 adds secondary units (RFC 8798).
#: Below 10 come RFC 8428's older drafts, whose number its own example carries (5).
VERSIONS = frozenset({*range(1, 11), 26})

# Longest base name and base unit.
_MOST_BASE = 256

# Longest name told in full.
_MOST_SHOWN = 64

_VALUE_LABELS = ("v", "vs", "vb", "vd")
_LABEL_OF = {"number": "v", "text": "vs", "flag": "vb"}


@dataclass(slots=True)  # frozen would take three times as long to make
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
        except RecordError as error:
            detail = f"{called(number, base.name(fields))} {error}"
            faults.append(Fault(error.reason, detail, write_fields(base.resolved(fields))))
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
                if len(fields[label]) > _MOST_BASE:
                    # It would be kept again beside each record that cannot be used.
                    raise PackError(
                        "field-too-long",
                        f"{label} of record {number} has {len(fields[label])} characters; "
                        f"expected at most {_MOST_BASE}",
                    )
                self.fields[label] = fields[label]
        for label in ("bt", "bv", "bs"):
            if label in fields:
                number_sent = finite(fields[label])
                if number_sent is None:
                    raise PackError(
                        "field-wrong-type",
                        f"{label} of record {number} is no finite number; expected one",
                    )
                self.fields[label] = number_sent
        if "bver" in fields:
            self._take_version(number, fields["bver"])

    def _take_version(self, number: int, version: object) -> None:
        if type(version) is not int or version not in VERSIONS:
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
        text_of(fields, "n")
        name = self.name(fields)
        if not LEGAL_NAME.fullmatch(name):
            raise RecordError(
                "name-illegal",
                "has no legal name; expected a letter or digit, then letters, digits and - : . / _",
            )
        unit = text_of(fields, "u") or self.fields.get("bu", "")
        at_ms = self._time(fields, received_ms)
        value, total = self._value(fields)
        return Record(number, name, unit, at_ms, value, total)

    def _time(self, fields: Fields, received_ms: int) -> int:
        number_of(fields, "ut")  # checked and passed over: it promises, and measures nothing
        time_s = self.fields.get("bt", 0.0) + (number_of(fields, "t") or 0.0)
        if not abs(time_s) < MOST_TIME_S:
            raise RecordError("time-wrong", f"has the time {time_s} s; expected a date")
        return instant_ms(time_s, received_ms)

    def _value(self, fields: Fields) -> tuple[SenmlValue, float | None]:
        sent = [label for label in _VALUE_LABELS if label in fields]
        if len(sent) > 1:
            raise RecordError("value-several", f"has {' and '.join(sent)}; expected one value")
        total = number_of(fields, "s")
        if total is not None or "bs" in self.fields:
            total = (total or 0.0) + self.fields.get("bs", 0.0)
        value: SenmlValue = None
        if sent:
            value = VALUES[sent[0]](fields)
        if "bv" in self.fields and (isinstance(value, float) or (not sent and total is None)):
            value = (value or 0.0) + self.fields["bv"]
        if value is None and total is None:
            raise RecordError("value-missing", "has neither v, vs, vb, vd nor s; expected one")
        return value, total

    def name(self, fields: Fields) -> str:
        """Return the resolved name, whatever was sent for one."""
        base: str = self.fields.get("bn", "")
        name = fields.get("n", "")
        return base + (name if isinstance(name, str) else shown(name))

    def resolved(self, fields: Fields) -> Fields:
        """Return what was sent with the base fields in force: what a quarantine should show."""
        return {**self.fields, **fields}


def called(number: int, name: str) -> str:
    """Return how a sentence about a record begins."""
    plain = LEGAL_NAME.fullmatch(name) and len(name) <= _MOST_SHOWN
    return f"record {number} ({name if plain else shown(name, _MOST_SHOWN)})"


def instant_ms(time_s: float, received_ms: int) -> int:
    """Return the instant of a SenML time: absolute from 2^28 s on, else relative to receipt."""
    # Doubles of today's dates are exact to 0.24 us, so this rounds to the millisecond meant.
    offset_ms = round(time_s * 1000)
    return offset_ms if time_s >= RELATIVE_BELOW_S else received_ms + offset_ms


def _check_labels(number: int, fields: Fields) -> None:
    for label in fields.keys() - LABELS:
        if label.endswith("_"):
            raise PackError(
                "field-unknown",
                f"record {number} has the label {shown(label)}, which must be understood "
                "(it ends in _) and is not; expected labels of RFC 8428",
            )
