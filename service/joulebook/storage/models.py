"""The catalogue's tables as SQLModel classes. They do not leave storage.

A test holds them against the migrations. ``readings`` is not among them: it grows columns, and
goes through the driver.
"""

from datetime import date

from sqlalchemy import CheckConstraint, Index, UniqueConstraint
from sqlmodel import Field, SQLModel


class OrganisationRow(SQLModel, table=True):
    """Who looks after some sites, apart from all others."""

    __tablename__ = "organisations"
    id: int = Field(default=None, primary_key=True)
    name: str
    name_folded: str = Field(unique=True)
    made_ms: int


class SiteRow(SQLModel, table=True):
    """A site and the facts that its owner entered."""

    __tablename__ = "sites"
    __table_args__ = (Index("ix_sites_organisation", "organisation_id"),)
    id: int = Field(default=None, primary_key=True)
    name: str = Field(unique=True)
    timezone: str
    battery_ah: float | None = None
    battery_cells: int | None = None
    installed: date | None = None
    warranty_years: float | None = None
    warranty_floor_ratio: float | None = None
    warranty_throughput_wh: float | None = None
    inverter_w: float | None = None
    inverter_peak_w: float | None = None
    charge_low_c: float | None = None
    charge_high_c: float | None = None
    discharge_low_c: float | None = None
    discharge_high_c: float | None = None
    charge_max_v: float | None = None
    battery_maker: str | None = None
    battery_model: str | None = None
    battery_serial: str | None = None
    inverter_maker: str | None = None
    inverter_model: str | None = None
    inverter_serial: str | None = None
    installer: str | None = None
    commissioned: date | None = None
    locale: str | None = None
    organisation_id: int | None = Field(default=None, foreign_key="organisations.id")


class DeviceRow(SQLModel, table=True):
    """A device of a site."""

    __tablename__ = "devices"
    __table_args__ = (UniqueConstraint("site_id", "name"),)
    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="sites.id")
    name: str


class SeriesRow(SQLModel, table=True):
    """A quantity of a device, and the column of ``readings`` that holds it."""

    __tablename__ = "series"
    __table_args__ = (
        UniqueConstraint("device_id", "quantity"),
        UniqueConstraint("device_id", "slot"),
        CheckConstraint("kind IN ('number', 'text', 'flag')"),
    )
    id: int = Field(default=None, primary_key=True)
    device_id: int = Field(foreign_key="devices.id")
    quantity: str
    unit: str
    kind: str
    slot: int


class DirtyDayRow(SQLModel, table=True):
    """A local day whose result is behind its readings."""

    __tablename__ = "dirty_days"
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    day: date = Field(primary_key=True)
    mark: int


class DayResultRow(SQLModel, table=True):
    """What was computed for a local day, and by which method."""

    __tablename__ = "day_results"
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    day: date = Field(primary_key=True)
    method: str
    result: bytes
    computed_ms: int


class CorrectionRow(SQLModel, table=True):
    """What is wrong with a series' readings, applied when computing; never edited."""

    __tablename__ = "corrections"
    __table_args__ = (
        Index("ix_corrections_site", "site_id"),
        CheckConstraint("kind IN ('sign', 'scale', 'offset', 'exclude')"),
        CheckConstraint("(value IS NOT NULL) = (kind IN ('scale', 'offset'))"),
        CheckConstraint("from_ms < to_ms"),
    )
    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="sites.id")
    device: str
    quantity: str
    kind: str
    value: float | None = None
    from_ms: int | None = None
    to_ms: int | None = None
    note: str
    made_ms: int
    withdrawn_ms: int | None = None


class EventRow(SQLModel, table=True):
    """Something that was changed at a site, which readings before and after should tell."""

    __tablename__ = "events"
    __table_args__ = (
        Index("ix_events_site", "site_id"),
        CheckConstraint(
            "kind IN ('firmware', 'wiring', 'panels', 'battery', 'sensor', 'settings', "
            "'capacity_setting', 'other')"
        ),
    )
    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="sites.id")
    at_ms: int
    kind: str
    title: str
    note: str
    made_ms: int
    removed_ms: int | None = None


class DeepTestRow(SQLModel, table=True):
    """A guided deep-discharge test of capacity: what was planned, and when it ran."""

    __tablename__ = "deep_tests"
    __table_args__ = (
        Index("ix_deep_tests_site", "site_id"),
        CheckConstraint("started_ms < ended_ms"),
    )
    id: int = Field(default=None, primary_key=True)
    site_id: int = Field(foreign_key="sites.id")
    planned_ms: int
    started_ms: int | None = None
    ended_ms: int | None = None
    target: str
    note: str


class RecordResultRow(SQLModel, table=True):
    """What was computed of a site's whole record, and how far the record was then."""

    __tablename__ = "record_results"
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    name: str = Field(primary_key=True)
    method: str
    mark: int
    computed_ms: int
    result: bytes


class RecordMarkRow(SQLModel, table=True):
    """The last mark of anything that a site's record is computed of."""

    __tablename__ = "record_marks"
    site_id: int = Field(foreign_key="sites.id", primary_key=True)
    mark: int


class QuarantineRow(SQLModel, table=True):
    """A message that could not be stored, with the reason; ``digest`` tells a repeat."""

    __tablename__ = "quarantine"
    __table_args__ = (
        Index("ix_quarantine_last", "last_received_ms"),
        Index("ix_quarantine_site_last", "site_id", "last_received_ms"),
        Index("ix_quarantine_reason_last", "site_id", "reason", "last_received_ms"),
    )
    id: int = Field(default=None, primary_key=True)
    digest: bytes = Field(unique=True)
    site_id: int | None = Field(default=None, foreign_key="sites.id")
    source: str
    topic: str
    payload: bytes
    reason: str
    detail: str
    received_ms: int
    times_seen: int
    last_received_ms: int
