"""What a kilowatt-hour costs, by season and hour."""

from alembic import op

revision = "0009"
down_revision = "0008"
branch_labels = None
depends_on = None

STATEMENTS: tuple[str, ...] = ()


def upgrade() -> None:
    """Make room for it."""
    for statement in STATEMENTS:
        op.execute(statement)
