"""Forms with a file, as browsers send them: multipart/form-data (RFC 7578).

All of it is read in memory, within the door's limit: what was sent is not yet what is kept, and
should lie on no disk.
"""

import re
from dataclasses import dataclass
from email.message import Message

#: What such a form is sent as.
PARTS_TYPE = "multipart/form-data"
#: Of a form with a file in all; a photo may be half of that, so that one which is somewhat too
#: large is refused beside its field. [byte]
MOST_BYTES = 16 * 1024 * 1024

_MOST_PARTS = 20
_MOST_HEAD_BYTES = 2048
#: A boundary is 1 to 70 of these, and does not end with a space (RFC 2046 §5.1.1).
_BOUNDARY = re.compile(r"[0-9A-Za-z'()+_,./:=? -]{0,69}[0-9A-Za-z'()+_,./:=?-]")


class PartsError(ValueError):
    """What was sent is not of the form of parts."""


@dataclass(frozen=True, slots=True)
class Parts:
    """The fields of a form: its texts, and its files, empty ones for which none was chosen."""

    texts: dict[str, str]
    files: dict[str, bytes]


def parts_of(content_type: str, body: bytes) -> Parts:
    """Return what a form holds; of two fields of a name the later one.

    Raises
    ------
    PartsError
        If it is not of its form.
    """
    boundary = _parameter(content_type, "Content-Type", "boundary") or ""
    if _BOUNDARY.fullmatch(boundary) is None:
        raise PartsError
    # The first delimiter may stand at the very beginning; all others begin with a line's end.
    before, *parts = (b"\r\n" + body).split(b"\r\n--" + boundary.encode(), _MOST_PARTS + 2)
    if before or not parts or not parts[-1].startswith(b"--") or len(parts) > _MOST_PARTS + 1:
        raise PartsError
    texts, files = {}, {}
    for part in parts[:-1]:
        name, is_file, content = _part(part)
        if is_file:
            files[name] = content
        else:
            texts[name] = _text(content)
    return Parts(texts, files)


def _part(part: bytes) -> tuple[str, bool, bytes]:
    """Return a part's name, whether it is a file, and what it holds."""
    # After a delimiter its line's end, the part's head, and an empty line.
    padding, ended, rest = part.partition(b"\r\n")
    head, parted, content = rest.partition(b"\r\n\r\n")
    if padding.strip(b" \t") or not (ended and parted) or len(head) > _MOST_HEAD_BYTES:
        raise PartsError
    for line in _text(head).split("\r\n"):
        field, _, value = line.partition(":")
        if field.strip().lower() == "content-disposition":
            name = _parameter(value, "Content-Disposition", "name")
            if name is None:
                break
            is_file = _parameter(value, "Content-Disposition", "filename") is not None
            return name, is_file, content
    raise PartsError


def _parameter(value: str, field: str, name: str) -> str | None:
    """Return a parameter of a header's value; quotes in it are sent as %22, and stay so."""
    message = Message()
    message[field] = value.strip()
    found = message.get_param(name, header=field)
    return found if isinstance(found, str) else None


def _text(content: bytes) -> str:
    try:
        return content.decode()
    except UnicodeDecodeError:
        raise PartsError from None
