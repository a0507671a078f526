"""How values are sent to a server, and read."""

from typing import Any

import psycopg
from psycopg.adapt import Loader
from psycopg.types.numeric import FloatDumper
from psycopg.types.string import StrDumperUnknown


class _ExactFloat(FloatDumper):
    """As a literal of its own type: as a plain number, -0.0 would lose its sign."""

    def quote(self, obj: Any) -> bytes:
        return b"'%s'::float8" % repr(float(obj)).encode()


class _Text(StrDumperUnknown):
    """Without the one character that no text of a server may hold; readings are sent as bytes."""

    def dump(self, obj: str) -> Any:
        return super().dump(obj.replace("\0", "\ufffd"))


class _Total(Loader):
    """Sums of whole numbers come as ``numeric``: a whole number again."""

    def load(self, data: Any) -> int | float:
        text = bytes(data).decode()
        return int(text) if text.lstrip("-").isdigit() else float(text)


def adapt(raw: psycopg.Connection[Any]) -> None:
    """Teach a new connection how values are sent and read."""
    raw.adapters.register_dumper(float, _ExactFloat)
    raw.adapters.register_dumper(str, _Text)
    raw.adapters.register_loader("numeric", _Total)
