"""JSON Pointer: the way to one value in a document (RFC 6901)."""

import re
from collections.abc import Mapping, Sequence
from typing import Any

_ESCAPE = re.compile("~(.?)")
_INDEX = re.compile("0|[1-9][0-9]*", re.ASCII)


class PointerError(ValueError):
    """What a pointer names is not there, or it is no pointer; a sentence for a person."""


def parse_pointer(text: str) -> tuple[str, ...]:
    """Return the reference tokens of a pointer, unescaped; the empty one names the whole.

    Raises
    ------
    PointerError
        If it is not empty and does not begin with ``/``, or ``~`` is not followed by 0 or 1.
    """
    if not text:
        return ()
    if not text.startswith("/"):
        raise PointerError(f"the pointer {text!r} does not begin with '/'")
    for found in _ESCAPE.finditer(text):
        if found[1] not in ("0", "1"):
            raise PointerError(f"the pointer {text!r} has a '~' that is neither '~0' nor '~1'")
    # In this order, or ~01 would become "/" (§4).
    return tuple(token.replace("~1", "/").replace("~0", "~") for token in text[1:].split("/"))


def find(document: Any, tokens: Sequence[str]) -> Any:
    """Return what tokens lead to.

    Raises
    ------
    PointerError
        If a member or an element is not there; ``-`` names the element after the last (§4).
    """
    value = document
    for depth, token in enumerate(tokens):
        at = "/" + "/".join(tokens[: depth + 1])
        if isinstance(value, Mapping):
            if token not in value:
                raise PointerError(f"there is no {at} in it")
            value = value[token]
        elif isinstance(value, list):
            if not _INDEX.fullmatch(token) or int(token) >= len(value):
                raise PointerError(f"there is no {at} in it, in a list of {len(value)}")
            value = value[int(token)]
        else:
            raise PointerError(f"there is no {at} in it: what is before is no object and no list")
    return value
