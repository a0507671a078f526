"""What the owner said of a site, read from the JSON that ``joulebook export`` writes."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec

from joulebook.core.money.tariff_checks import TariffError
from joulebook.core.money.tariff_text import tariff_of
from joulebook.errors import UsageError
from joulebook.storage.said import Said


def read_said(file: Path) -> Said:
    """Read a document, and refuse one of which anything would be lost.

    Raises
    ------
    UsageError
        If it is no such document, or says what this version does not know.
    """
    try:
        raw = msgspec.json.decode(file.read_bytes())
        said = msgspec.convert(raw, Said)
    except (OSError, msgspec.MsgspecError) as error:
        raise _refused(file, f"the document cannot be read: {error}") from error
    unknown = list(_unknown(raw, msgspec.to_builtins(said), "$"))
    if unknown:
        raise _refused(file, f"this version does not know {', '.join(unknown[:5])}")
    for place, one in enumerate(said.tariffs):
        try:
            tariff_of(one.terms)
        except TariffError as error:
            first = error.faults[0]
            raise _refused(file, f"tariff {place + 1}: {first.where}: {first.what}") from error
    return said


def _unknown(raw: Any, read: Any, place: str) -> Iterator[str]:
    """Yield the names in a document that were not read, each with its place."""
    if isinstance(raw, dict):
        for name, value in raw.items():
            if name in read:
                yield from _unknown(value, read[name], f"{place}.{name}")
            else:
                yield f"{place}.{name}"
    elif isinstance(raw, list):
        for number, (one, other) in enumerate(zip(raw, read, strict=True)):
            yield from _unknown(one, other, f"{place}[{number}]")


def _refused(file: Path, what: str) -> UsageError:
    return UsageError(
        what,
        where=file,
        expected="what `joulebook export FILE.json` writes, see docs/data-out.md",
        next_step="mend the file, or export it anew; nothing was stored",
    )
