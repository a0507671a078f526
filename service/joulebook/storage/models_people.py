"""The tables of people and of what they did, as SQLModel classes. They do not leave storage."""

from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field, SQLModel


class TokenRow(SQLModel, table=True):
    """What a program may do: the hash of a secret that only its bearer has."""

    __tablename__ = "tokens"
    __table_args__ = (
        CheckConstraint("scope IN ('write', 'read', 'metrics')"),
        CheckConstraint("site_id IS NOT NULL OR scope <> 'write'"),
        CheckConstraint("organisation_id IS NULL OR (site_id IS NULL AND scope = 'read')"),
    )
    id: int = Field(default=None, primary_key=True)
    site_id: int | None = Field(default=None, foreign_key="sites.id")
    name: str = Field(index=True)
    secret_sha256: bytes = Field(unique=True)
    scope: str
    made_ms: int | None = None
    last_used_ms: int | None = None
    revoked_ms: int | None = None
    organisation_id: int | None = Field(default=None, foreign_key="organisations.id")


class OrganisationRoleRow(SQLModel, table=True):
    """What somebody may do at every site of an organisation."""

    __tablename__ = "organisation_roles"
    __table_args__ = (CheckConstraint("role IN ('viewer', 'owner')"),)
    person_id: int = Field(foreign_key="people.id", primary_key=True)
    organisation_id: int = Field(foreign_key="organisations.id", primary_key=True)
    role: str


class PersonRow(SQLModel, table=True):
    """Somebody who may sign in, or was invited to."""

    __tablename__ = "people"
    __table_args__ = (CheckConstraint("everywhere IN ('viewer', 'owner')"),)
    id: int = Field(default=None, primary_key=True)
    name: str
    name_folded: str = Field(unique=True)
    password: str | None = None
    everywhere: str | None = None
    made_ms: int
    disabled_ms: int | None = None


class RoleRow(SQLModel, table=True):
    """What somebody may do at a single site."""

    __tablename__ = "roles"
    __table_args__ = (CheckConstraint("role IN ('viewer', 'owner')"),)
    person_id: int = Field(foreign_key="people.id", primary_key=True)
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    role: str


class SessionRow(SQLModel, table=True):
    """A browser in which somebody is signed in."""

    __tablename__ = "sessions"
    __table_args__ = (Index("ix_sessions_person", "person_id"),)
    id: int = Field(default=None, primary_key=True)
    secret_sha256: bytes = Field(unique=True)
    person_id: int = Field(foreign_key="people.id")
    address: str
    agent: str
    made_ms: int
    seen_ms: int


class WelcomeRow(SQLModel, table=True):
    """A link that lets somebody in once; of nobody yet: the first owner."""

    __tablename__ = "welcomes"
    id: int = Field(default=None, primary_key=True)
    secret_sha256: bytes = Field(unique=True)
    person_id: int | None = Field(default=None, foreign_key="people.id")
    made_ms: int
    ends_ms: int


class ShareRow(SQLModel, table=True):
    """A link to one page of a site."""

    __tablename__ = "shares"
    __table_args__ = (Index("ix_shares_site", "site_id"),)
    id: int = Field(default=None, primary_key=True)
    secret_sha256: bytes = Field(unique=True)
    site_id: int = Field(foreign_key="sites.id")
    page: str
    made_by: str
    made_ms: int
    ends_ms: int
    revoked_ms: int | None = None


class AuditRow(SQLModel, table=True):
    """A change that somebody made."""

    __tablename__ = "audit"
    __table_args__ = (
        Index("ix_audit_at", "at_ms"),
        Index("ix_audit_organisation", "organisation_id"),
    )
    id: int = Field(default=None, primary_key=True)
    at_ms: int
    who: str
    site: str | None = None
    action: str
    detail: str
    organisation_id: int | None = None
