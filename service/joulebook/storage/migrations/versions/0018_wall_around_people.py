"""On a server, the wall between tenants also around people, sessions and welcome links."""

from alembic import op

revision = "0018"
down_revision = "0017"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Build it; a file has no such wall."""
    bind = op.get_bind()
    if bind.dialect.name == "postgresql":
        # Only where there is a server: it loads the driver.
        from joulebook.storage.postgres.policies import build_wall_around_people

        build_wall_around_people(bind)
