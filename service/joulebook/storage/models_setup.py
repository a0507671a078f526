"""Tables of what an owner stands for and shows, as SQLModel classes. They do not leave storage."""

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


class EventPhotoRow(SQLModel, table=True):
    """A photo of an event: its pixels as JPEG, and what it shows."""

    __tablename__ = "event_photos"
    __table_args__ = (
        Index("ix_event_photos_site", "site_id"),
        Index("ix_event_photos_event", "event_id"),
    )
    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="sites.id")
    event_id: int = Field(foreign_key="events.id")
    caption: str
    made_ms: int
    width: int
    height: int
    sha256: str
    jpeg: bytes
