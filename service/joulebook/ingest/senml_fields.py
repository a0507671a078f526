"""The bytes of a SenML pack, JSON or CBOR, to fields by their JSON labels; nothing resolved yet.

Strict where the RFCs are, and where leniency would guess: labels that come twice, bytes after the
pack, numbers that no float holds. Bounded in depth, since a pack is a list of flat objects.
"""

import io
import json
from collections import Counter
from decimal import Decimal
from typing import Any, NoReturn

import cbor2

from joulebook.ingest.wording import shown

#: Beyond this a pack is refused unread. [bytes] A pack of 1000 records takes about 40 kB.
MAX_PACK_BYTES = 256 * 1024

#: RFC 8428 §6, Table 4.
_CBOR_LABELS: dict[int, str] = {
    -1: "bver",
    -2: "bn",
    -3: "bt",
    -4: "bu",
    -5: "bv",
    -6: "bs",
    0: "n",
    1: "u",
    2: "v",
    3: "vs",
    4: "vb",
    5: "s",
    6: "t",
    7: "ut",
    8: "vd",
}
#: The labels that mean something; others are passed over.
LABELS = frozenset(_CBOR_LABELS.values())
_LABEL_NUMBERS = {label: number for number, label in _CBOR_LABELS.items()}

#: Fields of one record, by JSON label. Values are whatever the bytes held.
Fields = dict[str, Any]


_SCALARS = (str, float, int, bytes, Decimal, type(None))


class PackError(ValueError):
    """The whole pack is unusable: a short code of ours, and a sentence for a person."""

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(detail)
        self.reason = reason
        self.detail = detail


def read_fields(payload: bytes) -> list[Fields]:
    """Return the fields of each record in a pack, told JSON or CBOR by the first byte.

    Raises
    ------
    PackError
        If the bytes are not one list of at least one record.
    """
    if not payload:
        raise PackError("payload-empty", "the payload is empty; expected a SenML pack")
    if len(payload) > MAX_PACK_BYTES:
        raise PackError(
            "payload-too-large",
            f"the payload has {len(payload)} bytes; expected at most {MAX_PACK_BYTES}",
        )
    # A CBOR array begins with 80h to 9Fh, which no JSON text does.
    pack = _from_cbor(payload) if 0x80 <= payload[0] <= 0x9F else _from_json(payload)
    if not isinstance(pack, list):
        raise PackError(
            "pack-malformed", f"the pack is {_kind(pack)}; expected a list of SenML records"
        )
    if not pack:
        raise PackError("pack-malformed", "the pack is an empty list; expected records")
    return [_flat(number, record) for number, record in enumerate(pack, start=1)]


def write_fields(fields: Fields) -> bytes:
    """Return a pack of one record, to keep beside the reason why it was refused.

    JSON, so that a person can read it; CBOR where JSON cannot hold it (NaN, infinity, bytes).
    """
    try:
        return json.dumps([fields], allow_nan=False, separators=(",", ":")).encode()
    except (TypeError, ValueError):
        return cbor2.dumps([{_LABEL_NUMBERS.get(label, label): fields[label] for label in fields}])


def _flat(number: int, record: object) -> Fields:
    if not isinstance(record, dict):
        raise PackError("pack-malformed", f"record {number} is {_kind(record)}; expected an object")
    fields: Fields = {}
    for label, value in record.items():
        if isinstance(value, _SCALARS):
            fields[label] = value
        elif label in LABELS:
            raise PackError(
                "pack-malformed",
                f"record {number} has {_kind(value)} for {label}; expected one value",
            )
        else:
            fields[label] = None  # nobody reads it, and nobody writes it back
    return fields


def _from_json(payload: bytes) -> object:
    try:
        text = payload.decode()
    except UnicodeDecodeError as error:
        raise PackError(
            "json-malformed",
            f"byte {error.start + 1} is neither UTF-8 nor the start of a CBOR list; "
            "expected a SenML pack in JSON or CBOR",
        ) from error
    try:
        return json.loads(text, object_pairs_hook=_unique, parse_constant=_no_constant)
    except PackError:
        raise
    except RecursionError as error:
        raise PackError(
            "pack-malformed", "the pack is nested too deep; expected a list of flat objects"
        ) from error
    except json.JSONDecodeError as error:
        raise PackError(
            "json-malformed", f"not JSON: {error.msg} at character {error.pos + 1}"
        ) from error
    except ValueError as error:  # an integer of more digits than Python reads
        raise PackError("json-malformed", "a number has too many digits") from error


def _unique(pairs: list[tuple[str, Any]]) -> Fields:
    fields = dict(pairs)
    if len(fields) != len(pairs):
        counted = Counter(label for label, _ in pairs)
        twice = next(label for label, count in counted.items() if count > 1)
        raise PackError(
            "field-duplicate", f"the label {shown(twice)} comes twice in a record; expected once"
        )
    return fields


def _no_constant(word: str) -> NoReturn:
    raise PackError("json-malformed", f"{word} is no JSON number; leave a missing value out")


def _refuse_tag(*_: object) -> NoReturn:
    raise ValueError("a tag that SenML does not use")


#: Tags that the library would act on (dates, regular expressions, shared references, …). SenML
#: uses tag 4, decimal fractions; big integers (2, 3) and the self-description 55799 do no harm.
_REFUSED_TAGS = dict.fromkeys(
    (0, 1, 5, 25, 28, 29, 30, 35, 36, 37, 100, 256, 258, 260, 261, 1004, 43000), _refuse_tag
)


def _from_cbor(payload: bytes) -> list[object]:
    stream = io.BytesIO(payload)
    decoder = cbor2.CBORDecoder(
        stream,
        tag_hook=_refuse_tag,
        semantic_decoders=_REFUSED_TAGS,
        max_depth=4,
        allow_duplicate_keys=False,
    )
    try:
        pack = decoder.decode()
    except (cbor2.CBORDecodeError, ValueError, TypeError, OverflowError, MemoryError) as error:
        reason = "field-duplicate" if "Duplicate" in str(error) else "cbor-malformed"
        raise PackError(reason, f"not a SenML pack in CBOR: {error}") from error
    if stream.tell() != len(payload):
        left = len(payload) - stream.tell()
        raise PackError("cbor-malformed", f"{left} bytes follow the CBOR pack; expected none")
    return [_labelled(record) if isinstance(record, dict) else record for record in pack]


def _labelled(record: dict[Any, Any]) -> Fields:
    fields: Fields = {}
    for key, value in record.items():
        # A true key would find label 1 in the table, and 1.0 too.
        label = _CBOR_LABELS.get(key, "") if type(key) is int else key
        if not isinstance(label, str) or not label:
            raise PackError("field-unknown", f"{shown(key)} is no CBOR label of RFC 8428 Table 4")
        if label in fields:
            raise PackError(
                "field-duplicate",
                f"the label {shown(label)} comes twice in a record; expected once",
            )
        fields[label] = value
    return fields


def _kind(value: object) -> str:
    names = {dict: "an object", list: "a list", str: "a text", bool: "true or false"}
    if value is None:
        return "null"
    return names.get(
        type(value), "a number" if isinstance(value, int | float) else "something else"
    )
