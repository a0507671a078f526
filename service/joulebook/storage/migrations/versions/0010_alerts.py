"""What the owner is told of, and what he was told."""

from alembic import op

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

STATEMENTS: tuple[str, ...] = ()


def upgrade() -> None:
    """Make room for it."""
    for statement in STATEMENTS:
        op.execute(statement)
