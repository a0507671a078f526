"""Looks at all rows that are not sealed yet, for :mod:`joulebook.storage.verify`."""

from collections.abc import Iterator, Mapping

from joulebook.storage.connections import Connection, ServerConnection, on_server
from joulebook.storage.findings import Findings
from joulebook.storage.tables import column_names

# What SQLite calls a value of each kind; a missing one is "null" in all of them. Numbers are
# written as floats, yet a whole one is a number too.
_STORED_AS = {"number": ("real", "integer"), "text": ("text",), "flag": ("integer",)}

#: The quantity and the kind that the series of a slot has.
_Slots = Mapping[int, tuple[str, str]]


def check_readings(connection: Connection, findings: Findings) -> None:
    """Check that each reading has its series, and is of its kind."""
    devices = dict(
        connection.execute(
            """
            SELECT devices.id, sites.name || '/' || devices.name
            FROM devices
            JOIN sites ON sites.id = devices.site_id
            """
        )
    )
    findings.checked |= {"rows": 0, "readings": 0}
    for (device_id,) in connection.execute("SELECT DISTINCT device_id FROM readings").fetchall():
        (rows,) = connection.execute(
            "SELECT count(*) FROM readings WHERE device_id = ?", (device_id,)
        ).fetchone()
        findings.checked["rows"] += rows
        device = devices.get(device_id, f"device {device_id}, which is not there")
        slots = {
            slot: (quantity, kind)
            for quantity, kind, slot in connection.execute(
                "SELECT quantity, kind, slot FROM series WHERE device_id = ?", (device_id,)
            )
        }
        counts = _on_server if on_server(connection) else _in_file
        for slot, stored, good in counts(connection, device_id, slots):  # type: ignore[arg-type]
            findings.checked["readings"] += stored
            findings.damage += _said(device, slot, stored, good, slots)


def _said(device: str, slot: int, stored: int, good: int, slots: _Slots) -> Iterator[str]:
    if slot not in slots:
        if stored:
            yield f"{stored} readings of {device} in v{slot} have no series"
    elif stored != good:
        quantity, kind = slots[slot]
        yield f"{stored - good} readings of {device}.{quantity} are no {kind}"


def _in_file(
    connection: Connection, device_id: int, slots: _Slots
) -> Iterator[tuple[int, int, int]]:
    """Yield how many readings each column has of a device, and how many are of its kind."""
    columns = [int(name[1:]) for name in column_names(connection, "readings") if name[0] == "v"]
    sums = ", ".join(f"count(v{slot}), {_good(slot, slots)}" for slot in columns)
    counts = connection.execute(
        f"SELECT {sums} FROM readings WHERE device_id = ?",  # noqa: S608 -- integers of ours
        (device_id,),
    ).fetchone()
    yield from zip(columns, counts[::2], counts[1::2], strict=True)


def _good(slot: int, slots: _Slots) -> str:
    """Return the expression that counts the readings of a column that are of its kind."""
    if slot not in slots:
        return "0"
    types = ", ".join(f"'{name}'" for name in _STORED_AS.get(slots[slot][1], ()))
    return f"sum(typeof(v{slot}) IN ({types}))"


def _on_server(
    connection: ServerConnection, device_id: int, slots: _Slots
) -> Iterator[tuple[int, int, int]]:
    """Yield what :func:`_in_file` does, of the places of a server's arrays.

    A flag is 0 or 1 there, and a text the bytes of one.
    """
    flags = [slot + 1 for slot, (_, kind) in slots.items() if kind == "flag"]
    numbers = connection.execute(
        """
        SELECT place, count(*), count(*) FILTER (
            WHERE numbers[place] IN (0, 1) OR NOT place = ANY (?::integer[])
        )
        FROM readings, generate_subscripts(numbers, 1) AS place
        WHERE device_id = ? AND numbers[place] IS NOT NULL
        GROUP BY place
        """,
        (flags, device_id),
    )
    for place, stored, good in numbers.fetchall():
        is_text = slots.get(place - 1, ("", ""))[1] == "text"
        yield place - 1, stored, 0 if is_text else good
    texts = connection.execute(
        """
        SELECT place, texts[place], count(*)
        FROM readings, generate_subscripts(texts, 1) AS place
        WHERE device_id = ? AND texts[place] IS NOT NULL
        GROUP BY 1, 2
        """,
        (device_id,),
    )
    for place, text, stored in texts.fetchall():
        is_text = slots.get(place - 1, ("", ""))[1] == "text"
        yield place - 1, stored, stored if is_text and _is_utf8(text) else 0


def _is_utf8(text: bytes) -> bool:
    try:
        text.decode()
    except UnicodeDecodeError:
        return False
    return True
