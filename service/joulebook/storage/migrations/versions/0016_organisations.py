"""Organisations: who looks after some homes, apart from all others; and the wall between them."""

from alembic import op

revision = "0016"
down_revision = "0015"
branch_labels = None
depends_on = None

# Instants and numbers of rows have other names on a server.
_TYPES = {
    "sqlite": {"whole": "INTEGER", "words": "VARCHAR"},
    "postgresql": {"whole": "BIGINT", "words": "words"},
}

STATEMENTS = (
    # A number is a mark, so it never comes twice: the next organisation would read the audit lines
    # of one that is gone.
    """
    CREATE TABLE organisations (
        id {whole} NOT NULL PRIMARY KEY,
        name {words} NOT NULL,
        name_folded {words} NOT NULL UNIQUE,
        made_ms {whole} NOT NULL
    )
    """,
    # What somebody may do at every site of an organisation, at those added later too.
    """
    CREATE TABLE organisation_roles (
        person_id {whole} NOT NULL REFERENCES people (id),
        organisation_id {whole} NOT NULL REFERENCES organisations (id),
        role {words} NOT NULL CHECK (role IN ('viewer', 'owner')),
        PRIMARY KEY (person_id, organisation_id)
    )
    """,
    "ALTER TABLE sites ADD COLUMN organisation_id {whole} REFERENCES organisations (id)",
    "CREATE INDEX ix_sites_organisation ON sites (organisation_id)",
    # A token that reads every site of an organisation; one without both reads all there is.
    """
    ALTER TABLE tokens ADD COLUMN organisation_id {whole} REFERENCES organisations (id)
    CHECK (organisation_id IS NULL OR (site_id IS NULL AND scope = 'read'))
    """,
    # Whose a site was when the change was made; no reference, for the line outlives it.
    "ALTER TABLE audit ADD COLUMN organisation_id {whole}",
    "CREATE INDEX ix_audit_organisation ON audit (organisation_id)",
)


def upgrade() -> None:
    """Make room for them; on a server, build the wall that keeps their rows apart."""
    bind = op.get_bind()
    for statement in STATEMENTS:
        op.execute(statement.format(**_TYPES[bind.dialect.name]))
    if bind.dialect.name == "postgresql":
        # Only where there is a server: it loads the driver.
        from joulebook.storage.postgres.policies import build_wall

        build_wall(bind)
