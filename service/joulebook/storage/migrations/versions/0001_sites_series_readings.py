"""Sites, tokens, devices, series, readings; what is dirty, computed and set aside."""

from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

# How many value columns the first schema gives to a row; wider devices add columns later.
FIRST_COLUMNS = 16

STATEMENTS = (
    """
    CREATE TABLE sites (
        id INTEGER NOT NULL PRIMARY KEY,
        name VARCHAR NOT NULL UNIQUE,
        timezone VARCHAR NOT NULL,
        battery_ah FLOAT,
        battery_cells INTEGER,
        installed DATE,
        warranty_years FLOAT,
        warranty_floor_ratio FLOAT,
        warranty_throughput_wh FLOAT
    )
    """,
    """
    CREATE TABLE tokens (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        name VARCHAR NOT NULL,
        secret_sha256 BLOB NOT NULL UNIQUE
    )
    """,
    "CREATE INDEX ix_tokens_name ON tokens (name)",
    """
    CREATE TABLE devices (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        name VARCHAR NOT NULL,
        UNIQUE (site_id, name)
    )
    """,
    """
    CREATE TABLE series (
        id INTEGER NOT NULL PRIMARY KEY,
        device_id INTEGER NOT NULL REFERENCES devices (id),
        quantity VARCHAR NOT NULL,
        unit VARCHAR NOT NULL,
        kind VARCHAR NOT NULL CHECK (kind IN ('number', 'text', 'flag')),
        slot INTEGER NOT NULL,
        UNIQUE (device_id, quantity),
        UNIQUE (device_id, slot)
    )
    """,
    # The value columns have no type, so that SQLite changes no value: 5.0 stays a float and
    # -0.0 keeps its sign. No foreign key either: it would be looked up for each row.
    f"""
    CREATE TABLE readings (
        device_id INTEGER NOT NULL,
        at_ms INTEGER NOT NULL,
        {" ".join(f"v{slot}," for slot in range(FIRST_COLUMNS))}
        PRIMARY KEY (device_id, at_ms)
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE newest (
        series_id INTEGER NOT NULL PRIMARY KEY REFERENCES series (id),
        at_ms INTEGER NOT NULL,
        value NOT NULL
    )
    """,
    """
    CREATE TABLE markings (
        id INTEGER NOT NULL PRIMARY KEY CHECK (id = 1),
        last_mark INTEGER NOT NULL
    )
    """,
    "INSERT INTO markings (id, last_mark) VALUES (1, 0)",
    """
    CREATE TABLE dirty_days (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        day DATE NOT NULL,
        mark INTEGER NOT NULL,
        PRIMARY KEY (site_id, day)
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE day_results (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        day DATE NOT NULL,
        method VARCHAR NOT NULL,
        result BLOB NOT NULL,
        computed_ms INTEGER NOT NULL,
        PRIMARY KEY (site_id, day)
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE quarantine (
        id INTEGER NOT NULL PRIMARY KEY,
        digest BLOB NOT NULL UNIQUE,
        site_id INTEGER REFERENCES sites (id),
        source VARCHAR NOT NULL,
        topic VARCHAR NOT NULL,
        payload BLOB NOT NULL,
        reason VARCHAR NOT NULL,
        detail VARCHAR NOT NULL,
        received_ms INTEGER NOT NULL,
        times_seen INTEGER NOT NULL,
        last_received_ms INTEGER NOT NULL
    )
    """,
    "CREATE INDEX ix_quarantine_last ON quarantine (last_received_ms)",
    "CREATE INDEX ix_quarantine_site_last ON quarantine (site_id, last_received_ms)",
)


def upgrade() -> None:
    """Make the first schema."""
    for statement in STATEMENTS:
        op.execute(statement)
