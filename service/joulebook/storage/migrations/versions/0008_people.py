"""Who may see and change what, and what was changed by whom."""

from alembic import op

revision = "0008"
down_revision = "0007"
branch_labels = None
depends_on = None

STATEMENTS: tuple[str, ...] = (
    # What was changed, by whom: the audit log. "site" is its name then, for sites can be deleted.
    """
    CREATE TABLE audit (
        id INTEGER NOT NULL PRIMARY KEY,
        at_ms INTEGER NOT NULL,
        who VARCHAR NOT NULL,
        site VARCHAR,
        action VARCHAR NOT NULL,
        detail VARCHAR NOT NULL
    )
    """,
    "CREATE INDEX ix_audit_at ON audit (at_ms)",
    # Without a password (argon2id) a person was invited and has not come yet. "name_folded" is the
    # name in small letters, by which he signs in.
    """
    CREATE TABLE people (
        id INTEGER NOT NULL PRIMARY KEY,
        name VARCHAR NOT NULL,
        name_folded VARCHAR NOT NULL UNIQUE,
        password VARCHAR,
        everywhere VARCHAR CHECK (everywhere IN ('viewer', 'owner')),
        made_ms INTEGER NOT NULL,
        disabled_ms INTEGER
    )
    """,
    """
    CREATE TABLE roles (
        person_id INTEGER NOT NULL REFERENCES people (id),
        site_id INTEGER NOT NULL REFERENCES sites (id),
        role VARCHAR NOT NULL CHECK (role IN ('viewer', 'owner')),
        PRIMARY KEY (person_id, site_id)
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE sessions (
        id INTEGER NOT NULL PRIMARY KEY,
        secret_sha256 BLOB NOT NULL UNIQUE,
        person_id INTEGER NOT NULL REFERENCES people (id),
        address VARCHAR NOT NULL,
        agent VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        seen_ms INTEGER NOT NULL
    )
    """,
    "CREATE INDEX ix_sessions_person ON sessions (person_id)",
    # Links that let somebody in once: a person who was invited, or, of nobody yet, the first owner.
    """
    CREATE TABLE welcomes (
        id INTEGER NOT NULL PRIMARY KEY,
        secret_sha256 BLOB NOT NULL UNIQUE,
        person_id INTEGER REFERENCES people (id),
        made_ms INTEGER NOT NULL,
        ends_ms INTEGER NOT NULL
    )
    """,
    """
    CREATE TABLE shares (
        id INTEGER NOT NULL PRIMARY KEY,
        secret_sha256 BLOB NOT NULL UNIQUE,
        site_id INTEGER NOT NULL REFERENCES sites (id),
        page VARCHAR NOT NULL,
        made_by VARCHAR NOT NULL,
        made_ms INTEGER NOT NULL,
        ends_ms INTEGER NOT NULL,
        revoked_ms INTEGER
    )
    """,
    "CREATE INDEX ix_shares_site ON shares (site_id)",
    # Tokens get a scope. Those there are let bridges write, and go on doing so.
    """
    CREATE TABLE tokens_of_scope (
        id INTEGER NOT NULL PRIMARY KEY,
        site_id INTEGER REFERENCES sites (id),
        name VARCHAR NOT NULL,
        secret_sha256 BLOB NOT NULL UNIQUE,
        scope VARCHAR NOT NULL CHECK (scope IN ('write', 'read', 'metrics')),
        made_ms INTEGER,
        last_used_ms INTEGER,
        revoked_ms INTEGER,
        CHECK (site_id IS NOT NULL OR scope <> 'write')
    )
    """,
    """
    INSERT INTO tokens_of_scope (id, site_id, name, secret_sha256, scope)
    SELECT id, site_id, name, secret_sha256, 'write'
    FROM tokens
    ORDER BY id
    """,
    "DROP TABLE tokens",
    "ALTER TABLE tokens_of_scope RENAME TO tokens",
    "CREATE INDEX ix_tokens_name ON tokens (name)",
)


def upgrade() -> None:
    """Make room for people, and say of each token what it is for."""
    for statement in STATEMENTS:
        op.execute(statement)
