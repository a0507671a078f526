"""The fields of one SenML record, each checked for its type."""

import base64
import binascii
import math
from collections.abc import Callable
from decimal import Decimal

from joulebook.ingest.senml_fields import Fields
from joulebook.ingest.wording import shown

#: What a SenML record can carry; the sum stands apart.
SenmlValue = float | str | bool | bytes | None


class RecordError(ValueError):
    """One record is unusable: a short code of ours, and how the sentence about it goes on."""

    def __init__(self, reason: str, detail: str) -> None:
        super().__init__(detail)
        self.reason = reason


def text_of(fields: Fields, label: str) -> str:
    """Return the text under a label, "" where there is none."""
    text = fields.get(label, "")
    if not isinstance(text, str):
        raise RecordError("field-wrong-type", f"has {shown(text)} for {label}; expected a text")
    return text


def number_of(fields: Fields, label: str) -> float | None:
    """Return the finite number under a label, ``None`` where there is none."""
    if label not in fields:
        return None
    number = finite(fields[label])
    if number is None:
        sent = fields[label]
        known = isinstance(sent, float | int | Decimal) and not isinstance(sent, bool)
        raise RecordError(
            "value-not-finite" if known else "field-wrong-type",
            f"has {shown(sent)} for {label}; expected a finite number",
        )
    return number


def finite(sent: object) -> float | None:
    """Return a number as a float, ``None`` where it is none or no float holds it."""
    if isinstance(sent, bool) or not isinstance(sent, int | float | Decimal):
        return None
    try:
        number = float(sent)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def _words(fields: Fields) -> str:
    words = text_of(fields, "vs")
    if not words.isprintable() and any("\ud800" <= letter <= "\udfff" for letter in words):
        raise RecordError("field-wrong-type", "has half a character in vs; expected whole ones")
    return words


def _flag(fields: Fields) -> bool:
    flag = fields["vb"]
    if not isinstance(flag, bool):
        raise RecordError("field-wrong-type", f"has {shown(flag)} for vb; expected true or false")
    return flag


def _data(fields: Fields) -> bytes:
    data = fields["vd"]
    if isinstance(data, bytes):
        return data
    try:
        # RFC 8428 §4.3: the URL-safe alphabet, padding left out.
        return base64.b64decode(data + "=" * (-len(data) % 4), altchars=b"-_", validate=True)
    except (TypeError, binascii.Error, ValueError) as error:
        raise RecordError(
            "field-wrong-type", "has no base64url text for vd; expected one"
        ) from error


#: Reads the value under each label.
VALUES: dict[str, Callable[[Fields], SenmlValue]] = {
    "v": lambda fields: number_of(fields, "v"),
    "vs": _words,
    "vb": _flag,
    "vd": _data,
}
