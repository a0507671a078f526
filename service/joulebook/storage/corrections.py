"""Corrections of a site's readings: added and withdrawn, never edited."""

from contextlib import suppress
from dataclasses import dataclass, replace

from joulebook.core.corrections import KINDS, Correction, CorrectionKind
from joulebook.core.quantities import quantity_of
from joulebook.errors import UsageError
from joulebook.storage.connections import Connection, joined, transaction
from joulebook.storage.days import mark_span
from joulebook.storage.faults import names_faults
from joulebook.storage.marking import mark_record
from joulebook.storage.records import Series, Site
from joulebook.storage.series import series_of

# These only catch slips of the pen.
_MOST_SCALE = 1e6
_MOST_OFFSET = 1e9
_LONGEST_NOTE = 500
_CORRECTIONS = """
SELECT site_id, id, device, quantity, kind, value, from_ms, to_ms, note, made_ms, withdrawn_ms
FROM corrections
"""


@dataclass(frozen=True, slots=True)
class Corrected:
    """A correction that was added or withdrawn, and how many days are computed anew for it."""

    correction: Correction
    days: int


@names_faults
def add_correction(connection: Connection, site: Site, wanted: Correction) -> Corrected:
    """Add a correction and mark every local day that it touches, in one transaction.

    Parameters
    ----------
    wanted : Correction
        What to add; its ``id`` is not used.

    Raises
    ------
    UsageError
        If the site has no such series, the kind does not suit it, the value makes no sense, or
        the very same correction is there already.
    """
    _check_form(wanted)
    with joined(connection):
        _check_series(wanted, series_of(connection, site.id))
        for there in corrections_of(connection, site.id):
            _check_same(wanted, there)
        (number,) = connection.execute(
            """
            INSERT INTO corrections
                (site_id, device, quantity, kind, value, from_ms, to_ms, note, made_ms)
            VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)
            RETURNING id
            """,
            (
                *(site.id, wanted.device, wanted.quantity, wanted.kind, wanted.value),
                *(wanted.from_ms, wanted.to_ms, wanted.note, wanted.made_ms),
            ),
        ).fetchone()
        added = replace(wanted, id=int(number))
        return Corrected(added, _mark(connection, site, added))


class _OnlyLookedError(Exception):
    """Takes a transaction back in which nothing was to be changed."""


@names_faults
def preview_correction(connection: Connection, site: Site, wanted: Correction) -> Corrected:
    """Return what :func:`add_correction` would, but for the number, and change nothing.

    Raises
    ------
    UsageError
        As there.
    """
    looked: list[Corrected] = []
    with suppress(_OnlyLookedError), transaction(connection):
        looked.append(add_correction(connection, site, wanted))
        raise _OnlyLookedError
    # The number that it had for a moment is nobody's: a server gives the next one another.
    return replace(looked[0], correction=wanted)


@names_faults
def withdraw_correction(
    connection: Connection, site: Site, correction_id: int, *, now_ms: int
) -> Corrected:
    """Withdraw a correction and mark every local day that it touched, in one transaction.

    Raises
    ------
    UsageError
        If the site has no such correction, or it was withdrawn before.
    """
    with joined(connection):
        there = {one.id: one for one in corrections_of(connection, site.id, withdrawn=True)}
        found = there.get(correction_id)
        if found is None or found.withdrawn_ms is not None:
            inforce = [str(one.id) for one in there.values() if one.withdrawn_ms is None]
            raise UsageError(
                f"site {site.name} has no correction {correction_id}"
                if found is None
                else f"correction {correction_id} was withdrawn before",
                where="correction",
                expected="one of " + ", ".join(inforce) if inforce else "a correction in force",
                next_step="list them with `joulebook correction list`",
            )
        connection.execute(
            "UPDATE corrections SET withdrawn_ms = ? WHERE id = ?", (now_ms, correction_id)
        )
        return Corrected(replace(found, withdrawn_ms=now_ms), _mark(connection, site, found))


@names_faults
def corrections_of(
    connection: Connection, site_id: int, *, withdrawn: bool = False
) -> list[Correction]:
    """Return a site's corrections in the order they were made; withdrawn ones if asked for."""
    rows = connection.execute(
        f"{_CORRECTIONS} WHERE site_id = ? AND (? OR withdrawn_ms IS NULL) ORDER BY made_ms, id",
        (site_id, withdrawn),
    )
    return [_correction(*row) for _, *row in rows]


@names_faults
def corrections_by_site(connection: Connection) -> dict[int, list[Correction]]:
    """Return the corrections in force of every site that has any, by its id, as above."""
    rows = connection.execute(f"{_CORRECTIONS} WHERE withdrawn_ms IS NULL ORDER BY made_ms, id")
    found: dict[int, list[Correction]] = {}
    for site_id, *row in rows:
        found.setdefault(site_id, []).append(_correction(*row))
    return found


def _correction(
    number: int,
    device: str,
    quantity: str,
    kind: CorrectionKind,
    value: float | None,
    from_ms: int | None,
    to_ms: int | None,
    note: str,
    made_ms: int,
    withdrawn_ms: int | None,
) -> Correction:
    return Correction(
        id=number,
        device=device,
        quantity=quantity,
        kind=kind,
        value=value,
        from_ms=from_ms,
        to_ms=to_ms,
        note=note,
        made_ms=made_ms,
        withdrawn_ms=withdrawn_ms,
    )


def _mark(connection: Connection, site: Site, correction: Correction) -> int:
    # The record too, where no day has readings yet: its analysis lists corrections.
    mark_record(connection, site.id)
    return mark_span(connection, site, correction.from_ms, correction.to_ms)


def _check_form(wanted: Correction) -> None:
    """Raise where a correction cannot be one, whatever the site has."""
    if wanted.kind not in KINDS:
        raise _refused(
            f"there is no correction {wanted.kind!r}", "kind", "one of " + ", ".join(KINDS)
        )
    if (wanted.value is None) != (wanted.kind in {"sign", "exclude"}):
        raise _refused(
            f"a {wanted.kind} correction {'needs a' if wanted.value is None else 'has no'} value",
            *("value", "a value with scale and offset, none with sign and exclude"),
        )
    if wanted.value is not None:
        _check_value(wanted.kind, wanted.value)
    if None not in (wanted.from_ms, wanted.to_ms) and (wanted.from_ms or 0) >= (wanted.to_ms or 0):
        raise _refused("the correction ends before it begins", "from, to", "from before to")
    if len(wanted.note) > _LONGEST_NOTE:
        raise _refused("the note is too long", "note", f"at most {_LONGEST_NOTE} characters")


def _check_value(kind: CorrectionKind, value: float) -> None:
    if kind == "scale" and not (1 / _MOST_SCALE <= value <= _MOST_SCALE and value != 1):
        raise _refused(
            f"a scale cannot be {value:g}",
            *("value", "a factor above 0 that is not 1; kind sign turns readings around"),
        )
    if kind == "offset" and not (abs(value) <= _MOST_OFFSET and value != 0):
        raise _refused(
            f"an offset cannot be {value:g}", "value", "a number that is not 0, in the series' unit"
        )


def _check_series(wanted: Correction, series: list[Series]) -> None:
    """Raise where a site has no such series of numbers, or the kind does not suit it."""
    name = f"{wanted.device}/{wanted.quantity}"
    numbers = sorted(f"{one.device}/{one.quantity}" for one in series if one.kind == "number")
    if name not in numbers:
        raise _refused(
            f"the site has no series of numbers {name}",
            *("series", "one of " + ", ".join(numbers) if numbers else "a series with readings"),
        )
    known = quantity_of(wanted.device, wanted.quantity)
    whole = wanted.from_ms is None and wanted.to_ms is None
    if known is not None and known.counter and wanted.kind != "exclude":
        # A counter's differences are the energy: a step that a correction makes would be counted.
        if wanted.kind == "scale" and whole:
            return
        raise _refused(
            f"{name} is a counter, and this would make a step in it that counts as energy",
            *("kind", "scale without from and to, or exclude"),
        )


def _check_same(wanted: Correction, there: Correction) -> None:
    if replace(wanted, id=there.id, made_ms=there.made_ms, note=there.note) == there:
        raise _refused(
            f"correction {there.id} says the same already, and both would act, one upon the other",
            *("correction", "something that is not corrected yet"),
        )


def _refused(what: str, where: str, expected: str) -> UsageError:
    return UsageError(
        what,
        where=where,
        expected=expected,
        next_step="see `joulebook correction add --help`; nothing was stored",
    )
