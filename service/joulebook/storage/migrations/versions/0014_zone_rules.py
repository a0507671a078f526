"""What a site's time zone was when its days were computed: rules of zones change."""

from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None

STATEMENTS = (
    # "rules" is what core/spans.py says of a zone's midnights, as JSON.
    """
    CREATE TABLE zone_rules (
        site_id INTEGER NOT NULL PRIMARY KEY REFERENCES sites (id),
        rules VARCHAR NOT NULL
    )
    """,
)


def upgrade() -> None:
    """Make room for it; the service notes the rules of every site when it starts."""
    for statement in STATEMENTS:
        op.execute(statement)
