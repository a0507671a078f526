"""The tables of people and of what they did, as SQLModel classes. They do not leave storage."""

from sqlalchemy import Index
from sqlmodel import Field, SQLModel


class AuditRow(SQLModel, table=True):
    """A change that somebody made."""

    __tablename__ = "audit"
    __table_args__ = (Index("ix_audit_at", "at_ms"),)
    id: int = Field(default=None, primary_key=True)
    at_ms: int
    who: str
    site: str | None = None
    action: str
    detail: str
