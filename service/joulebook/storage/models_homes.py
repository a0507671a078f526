"""What is told of a home among many, as a SQLModel class. It does not leave storage."""

from sqlalchemy import Index
from sqlmodel import Field, SQLModel


class HomeLineRow(SQLModel, table=True):
    """One home, ready to be shown among many; made of results that are stored elsewhere."""

    __tablename__ = "home_lines"
    __table_args__ = (Index("ix_home_lines_mark", "mark"),)
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    gravity: int
    reasons: str
    numbers: bytes
    numbers_of: str
    peers: bytes | None = None
    told: bytes
    made_of: str
    made_ms: int
    mark: int
