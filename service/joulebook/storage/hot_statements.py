"""The statements of the hot path, in the words of either store.

They are put together from integers of ours, never from what was sent.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from operator import itemgetter

from joulebook.storage.connections import Connection, ServerConnection, on_server
from joulebook.storage.records import Series, Value
from joulebook.storage.slots import places_of, read_texts, texts_among

Row = tuple[Value, ...]

#: The last instant of a device among its hot rows, and among its sealed ones. [ms, UTC epoch]
Ends = tuple[int | None, int | None]


def ends_of(connection: Connection, device_ids: Sequence[int]) -> dict[int, Ends]:
    """Return the last instants of devices: one seek each into the hot rows and into the blocks."""
    if on_server(connection):
        rows = connection.execute(
            f"SELECT id, {_HOT}, {_SEALED} FROM unnest(?::bigint[]) AS device (id)",  # noqa: S608
            (list(device_ids),),
        )
        return {device_id: (hot_ms, sealed_ms) for device_id, hot_ms, sealed_ms in rows}
    return {
        device_id: connection.execute(
            f"SELECT {_HOT}, {_SEALED} FROM (SELECT ? AS id) AS device",  # noqa: S608
            (device_id,),
        ).fetchone()
        for device_id in device_ids
    }


_HOT = "(SELECT max(at_ms) FROM readings WHERE device_id = device.id)"
_SEALED = "(SELECT last_ms FROM blocks WHERE device_id = device.id ORDER BY start_ms DESC LIMIT 1)"


def hot_values(
    connection: Connection, device_id: int, series: Sequence[Series], rows: Sequence[Row]
) -> dict[Value, Row]:
    """Return what the hot rows hold at the instants of some rows."""
    if on_server(connection):
        texts = texts_among(series)
        found = connection.execute(
            _server_select(places_of(connection, series)), (device_id, [row[0] for row in rows])
        )
        return {row[0]: tuple(read_texts(row, texts)[1:]) for row in found}
    wanted = f"[{','.join(str(row[0]) for row in rows)}]"
    slots = tuple(one.slot for one in series)
    return {
        at_ms: values
        for at_ms, *values in connection.execute(_select_sql(slots), (device_id, wanted))
    }


def insert_fresh(
    connection: Connection, fresh: Iterable[tuple[int, Sequence[Series], list[Row]]]
) -> None:
    """Insert rows that are later than all that their device has: (device, series, rows)."""
    if on_server(connection):
        copied = [
            whole
            for device_id, series, rows in fresh
            for whole in _server_rows(device_id, series, rows)
        ]
        if copied:
            connection.copy_rows(_COPY, _COPY_TYPES, copied)
        return
    for device_id, series, rows in fresh:
        slots = tuple(one.slot for one in series)
        # The device's id is part of the text: binding it would mean building each row anew.
        connection.executemany(_insert_sql(device_id, slots), rows)


def upsert_merged(
    connection: Connection, device_id: int, series: Sequence[Series], rows: list[Row]
) -> None:
    """Put rows in place of what the hot rows hold at their instants; other series stay."""
    if on_server(connection):
        texts = texts_among(series)
        connection.executemany(
            _server_upsert(device_id, places_of(connection, series)),
            [_encoded(row, texts) for row in rows],
        )
    else:
        slots = tuple(one.slot for one in series)
        connection.executemany(_upsert_sql(device_id, slots), rows)


def upsert_newest(connection: Connection, newest: list[tuple[Series, Value, Value]]) -> None:
    """Keep the newest reading of each series: (series, instant, value)."""
    if on_server(connection):
        _server_newest(connection, newest)
        return
    connection.executemany(
        """
        INSERT INTO newest (series_id, at_ms, value)
        VALUES (?, ?, ?)
        ON CONFLICT (series_id) DO UPDATE
        SET at_ms = excluded.at_ms, value = excluded.value
        WHERE excluded.at_ms >= newest.at_ms
        """,
        [(series.id, at_ms, value) for series, at_ms, value in newest],
    )


@lru_cache(maxsize=1024)
def _insert_sql(device_id: int, slots: tuple[int, ...]) -> str:
    columns = ", ".join(f"v{slot}" for slot in slots)
    places = ", ".join("?" for _ in slots)
    return f"INSERT INTO readings (device_id, at_ms, {columns}) VALUES ({device_id}, ?, {places})"  # noqa: S608


@lru_cache(maxsize=1024)
def _upsert_sql(device_id: int, slots: tuple[int, ...]) -> str:
    updates = ", ".join(f"v{slot} = excluded.v{slot}" for slot in slots)
    return f"{_insert_sql(device_id, slots)} ON CONFLICT (device_id, at_ms) DO UPDATE SET {updates}"


@lru_cache(maxsize=1024)
def _select_sql(slots: tuple[int, ...]) -> str:
    columns = ", ".join(f"v{slot}" for slot in slots)
    return f"""
        SELECT at_ms, {columns}
        FROM readings
        WHERE device_id = ? AND at_ms IN (SELECT value FROM json_each(?))
        """  # noqa: S608


# On a server a row holds two arrays, in which a series has its place.

_COPY = "COPY readings (device_id, at_ms, numbers, texts) FROM STDIN (FORMAT BINARY)"
_COPY_TYPES = ("int8", "int8", "float8[]", "bytea[]")


def _server_rows(
    device_id: int, series: Sequence[Series], rows: list[Row]
) -> Iterable[tuple[int, Value, list[float | None] | None, list[bytes | None] | None]]:
    """Yield rows as the table holds them."""
    length = max(one.slot for one in series) + 1
    numbers = [(one.slot, place) for place, one in enumerate(series, 1) if one.kind != "text"]
    texts = [(one.slot, place) for place, one in enumerate(series, 1) if one.kind == "text"]
    in_line = numbers == [(slot, slot + 1) for slot in range(length)]
    for row in rows:
        if in_line:  # all of a device's quantities are numbers, as a rule
            yield device_id, row[0], [_float(value) for value in row[1:]], None
            continue
        held: list[float | None] = [None] * length
        said: list[bytes | None] = [None] * length
        for slot, place in numbers:
            held[slot] = _float(row[place])
        for slot, place in texts:
            said[slot] = _bytes(row[place])
        yield device_id, row[0], held if numbers else None, said if texts else None


def _float(value: Value) -> float | None:
    return None if value is None else float(value)


def _bytes(value: Value) -> bytes | None:
    return None if value is None else str(value).encode()


def _encoded(row: Row, texts: tuple[int, ...]) -> list[object]:
    return [
        row[0],
        *(
            _bytes(value) if place in texts else _float(value)
            for place, value in enumerate(row[1:], start=1)
        ),
    ]


@lru_cache(maxsize=1024)
def _server_select(places: tuple[str, ...]) -> str:
    columns = ", ".join(places)
    return f"""
        SELECT at_ms, {columns}
        FROM readings
        WHERE device_id = ? AND at_ms = ANY(?::bigint[])
        """  # noqa: S608


@lru_cache(maxsize=1024)
def _server_upsert(device_id: int, places: tuple[str, ...]) -> str:
    columns = ", ".join(places)
    values = ", ".join("?::bytea" if one.startswith("texts") else "?::float8" for one in places)
    updates = ", ".join(f"{one} = excluded.{one}" for one in places)
    return f"""
        INSERT INTO readings (device_id, at_ms, {columns})
        VALUES ({device_id}, ?, {values})
        ON CONFLICT (device_id, at_ms) DO UPDATE SET {updates}
        """  # noqa: S608


def _server_newest(connection: ServerConnection, newest: list[tuple[Series, Value, Value]]) -> None:
    # One statement may not change a row twice: of a series that came twice, the latest stays.
    latest = {one[0].id: one for one in sorted(newest, key=itemgetter(1))}
    rows = [
        (
            *(series.id, at_ms),
            None if series.kind == "text" else _float(value),
            _bytes(value) if series.kind == "text" else None,
        )
        for series, at_ms, value in latest.values()
    ]
    ids, instants, numbers, texts = (list(column) for column in zip(*rows, strict=True))
    connection.execute(
        """
        INSERT INTO newest (series_id, at_ms, number, text)
        SELECT * FROM unnest(?::bigint[], ?::bigint[], ?::float8[], ?::bytea[])
        ON CONFLICT (series_id) DO UPDATE
        SET at_ms = excluded.at_ms, number = excluded.number, text = excluded.text
        WHERE excluded.at_ms >= newest.at_ms
        """,
        (ids, instants, numbers, texts),
    )
