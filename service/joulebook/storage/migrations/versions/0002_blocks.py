"""Sealed blocks, and which days of a device still have hot rows."""

from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

STATEMENTS = (
    # The bytes come last: SQLite reads a row from its beginning, and most look-ups end before
    # them. An id is a mark (table markings), so it never comes twice.
    """
    CREATE TABLE blocks (
        id INTEGER NOT NULL PRIMARY KEY,
        device_id INTEGER NOT NULL REFERENCES devices (id),
        start_ms INTEGER NOT NULL,
        end_ms INTEGER NOT NULL,
        first_ms INTEGER NOT NULL,
        last_ms INTEGER NOT NULL,
        rows INTEGER NOT NULL,
        format INTEGER NOT NULL,
        checksum INTEGER NOT NULL,
        data BLOB NOT NULL,
        UNIQUE (device_id, start_ms)
    )
    """,
    """
    CREATE TABLE hot_days (
        device_id INTEGER NOT NULL REFERENCES devices (id),
        day INTEGER NOT NULL,
        mark INTEGER NOT NULL,
        PRIMARY KEY (device_id, day)
    ) WITHOUT ROWID
    """,
    # SQLite divides towards zero, and days before 1970 must be rounded down.
    """
    INSERT INTO hot_days (device_id, day, mark)
    SELECT DISTINCT
        device_id,
        (at_ms - (at_ms % 86400000 + 86400000) % 86400000) / 86400000,
        0
    FROM readings
    """,
)


def upgrade() -> None:
    """Make room for blocks, and note which days are not in one yet."""
    for statement in STATEMENTS:
        op.execute(statement)
