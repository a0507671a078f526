"""The chain of what was sealed, as a SQLModel class. It does not leave storage."""

from sqlalchemy import Index
from sqlmodel import Field, SQLModel


class SealLinkRow(SQLModel, table=True):
    """That a device's day was sealed with readings of this digest."""

    __tablename__ = "seal_links"
    __table_args__ = (Index("ix_seal_links_day", "device_id", "day"),)
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    number: int = Field(primary_key=True)
    device_id: int = Field(foreign_key="devices.id")
    day: int
    readings: int
    digest: bytes
    sealed_ms: int
    hash: bytes
