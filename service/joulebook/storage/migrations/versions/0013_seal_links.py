"""The chain of what was sealed: a hash for each day of a device, each over the one before."""

from alembic import op

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

STATEMENTS = (
    # Rows are added and never changed. "day" counts from 1970-01-01 (UTC).
    """
    CREATE TABLE seal_links (
        site_id INTEGER NOT NULL REFERENCES sites (id),
        number INTEGER NOT NULL,
        device_id INTEGER NOT NULL REFERENCES devices (id),
        day INTEGER NOT NULL,
        readings INTEGER NOT NULL,
        digest BLOB NOT NULL,
        sealed_ms INTEGER NOT NULL,
        hash BLOB NOT NULL,
        PRIMARY KEY (site_id, number)
    )
    """,
    "CREATE INDEX ix_seal_links_day ON seal_links (device_id, day)",
)


def upgrade() -> None:
    """Make room for the chain; what is sealed already is linked by the sealer's next run."""
    for statement in STATEMENTS:
        op.execute(statement)
