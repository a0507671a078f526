"""What is known of the sites' time zones, as a SQLModel class. It does not leave storage."""

from sqlmodel import Field, SQLModel


class ZoneRulesRow(SQLModel, table=True):
    """When the local days of a site begin, by the rules that its results were computed with."""

    __tablename__ = "zone_rules"
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    rules: str
