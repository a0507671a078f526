"""The table of tariffs, as a SQLModel class. It does not leave storage."""

from datetime import date

from sqlalchemy import Index
from sqlmodel import Field, SQLModel


class TariffRow(SQLModel, table=True):
    """What a kilowatt-hour costs from a day on, as the owner entered it; never edited."""

    __tablename__ = "tariffs"
    __table_args__ = (Index("ix_tariffs_site", "site_id"),)
    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="sites.id")
    from_day: date
    terms: str
    note: str
    made_ms: int
    withdrawn_ms: int | None = None
