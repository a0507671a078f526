"""The tables of alerts, as SQLModel classes. They do not leave storage."""

from sqlalchemy import CheckConstraint, Index, UniqueConstraint, text
from sqlmodel import Field, SQLModel


class AlertWatchRow(SQLModel, table=True):
    """How a rule stands with a subject; ``least`` is the least value that it ever had."""

    __tablename__ = "alert_watches"
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    rule: str = Field(primary_key=True)
    subject: str = Field(primary_key=True)
    is_open: bool
    since_ms: int | None = None
    least: float | None = None


class AlertEpisodeRow(SQLModel, table=True):
    """From the opening of an alert to its closing."""

    __tablename__ = "alert_episodes"
    __table_args__ = (
        Index("ix_alert_episodes_site", "site_id", "opened_ms"),
        Index(
            "ix_alert_episodes_open",
            "site_id",
            sqlite_where=text("closed_ms IS NULL"),
            postgresql_where=text("closed_ms IS NULL"),
        ),
        CheckConstraint("opened_ms <= closed_ms"),
    )
    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="sites.id")
    rule: str
    subject: str
    opened_ms: int
    closed_ms: int | None = None
    value: float
    sentence: str


class AlertRuleRow(SQLModel, table=True):
    """A rule that is off, or opens elsewhere than by default."""

    __tablename__ = "alert_rules"
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    rule: str = Field(primary_key=True)
    is_on: bool
    opens_at: float | None = None


class AlertSettingsRow(SQLModel, table=True):
    """A site's quiet hours and the day and hour of its letter."""

    __tablename__ = "alert_settings"
    __table_args__ = (
        CheckConstraint("(quiet_from IS NULL) = (quiet_to IS NULL)"),
        CheckConstraint("(letter_day IS NULL) = (letter_hour IS NULL)"),
    )
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    quiet_from: int | None = None
    quiet_to: int | None = None
    dangerous_anyway: bool
    letter_day: int | None = None
    letter_hour: int | None = None


class AlertChannelRow(SQLModel, table=True):
    """A way to reach the owner; its address may hold a password."""

    __tablename__ = "alert_channels"
    __table_args__ = (Index("ix_alert_channels_site", "site_id"),)
    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="sites.id")
    label: str
    url: str
    made_ms: int
    removed_ms: int | None = None


class AlertDeliveryRow(SQLModel, table=True):
    """One thing that is told on one channel, once."""

    __tablename__ = "alert_deliveries"
    __table_args__ = (
        UniqueConstraint("channel_id", "about"),
        Index("ix_alert_deliveries_next", "state", "next_ms"),
        CheckConstraint("state IN ('waiting', 'sending', 'delivered', 'unknown', 'given-up')"),
    )
    id: int = Field(default=None, primary_key=True)
    channel_id: int = Field(foreign_key="alert_channels.id")
    about: str
    title: str
    body: str
    html: str | None = None
    state: str
    made_ms: int
    next_ms: int
    tries: int
    trouble: str
