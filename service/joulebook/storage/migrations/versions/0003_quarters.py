"""Quarter hours of the series, and the days on which they are behind the readings."""

from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None

STATEMENTS = (
    # One row a device and month of UTC; the bytes come last, as in blocks.
    """
    CREATE TABLE quarters (
        device_id INTEGER NOT NULL REFERENCES devices (id),
        start_ms INTEGER NOT NULL,
        method VARCHAR NOT NULL,
        data BLOB NOT NULL,
        PRIMARY KEY (device_id, start_ms)
    )
    """,
    """
    CREATE TABLE dirty_quarters (
        device_id INTEGER NOT NULL REFERENCES devices (id),
        day INTEGER NOT NULL,
        mark INTEGER NOT NULL,
        PRIMARY KEY (device_id, day)
    ) WITHOUT ROWID
    """,
    # All that was measured so far is still to be computed.
    "INSERT INTO dirty_quarters (device_id, day, mark) SELECT device_id, day, 0 FROM hot_days",
    """
    WITH RECURSIVE sealed (device_id, day, last_day) AS (
        SELECT device_id, first_ms / 86400000, last_ms / 86400000
        FROM blocks
        UNION
        SELECT device_id, day + 1, last_day
        FROM sealed
        WHERE day < last_day
    )
    INSERT OR IGNORE INTO dirty_quarters (device_id, day, mark)
    SELECT device_id, day, 0
    FROM sealed
    """,
)


def upgrade() -> None:
    """Make room for quarter hours, and mark everything to be computed."""
    for statement in STATEMENTS:
        op.execute(statement)
