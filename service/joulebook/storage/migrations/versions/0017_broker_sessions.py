"""Sessions that copies of ingest have at a broker: who reads which, and whether still."""

from alembic import op

revision = "0017"
down_revision = "0016"
branch_labels = None
depends_on = None

STATEMENTS = (
    # "subscriptions" are lines; "holder" is empty where nobody reads the session.
    """
    CREATE TABLE broker_sessions (
        client_id VARCHAR NOT NULL PRIMARY KEY,
        broker VARCHAR NOT NULL,
        subscriptions VARCHAR NOT NULL,
        holder VARCHAR NOT NULL,
        beats INTEGER NOT NULL
    )
    """,
)


def upgrade() -> None:
    """Make room for them."""
    for statement in STATEMENTS:
        op.execute(statement)
