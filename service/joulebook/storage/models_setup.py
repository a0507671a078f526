"""The tables of what an owner stands for, as SQLModel classes. They do not leave storage."""

from sqlalchemy import CheckConstraint, Index
from sqlmodel import Field, SQLModel


class SignOffRow(SQLModel, table=True):
    """What the checks said on a day, and who signed it; a trigger keeps it from being edited."""

    __tablename__ = "sign_offs"
    __table_args__ = (
        Index("ix_sign_offs_site", "site_id"),
        CheckConstraint("role IN ('owner', 'installer')"),
    )
    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="sites.id")
    at_ms: int
    who: str
    name: str
    role: str
    document: str
    sha256: str
