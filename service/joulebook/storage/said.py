"""What the owner of a site said of it, as one document: everything that no device measures."""

from dataclasses import dataclass, field
from typing import Any, Literal

from joulebook.core.corrections import Correction
from joulebook.core.money.tariff_text import document_of
from joulebook.storage.alert_settings import (
    AlertSettings,
    RuleSetting,
    alert_settings,
    rule_settings,
)
from joulebook.storage.connections import Connection, joined_snapshot
from joulebook.storage.corrections import corrections_of
from joulebook.storage.deep_tests import DeepTest, deep_tests_of
from joulebook.storage.event_photos import whole_photos
from joulebook.storage.events import Event, events_of
from joulebook.storage.faults import names_faults
from joulebook.storage.records import Site
from joulebook.storage.sign_offs import SignOff, sign_offs_of
from joulebook.storage.site_facts import SiteFacts, facts_of
from joulebook.storage.tariffs import tariffs_of

#: The form of the document; another one is another word.
FORM: Literal["joulebook-said-1"] = "joulebook-said-1"


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidTariff:
    """A version of the tariff: its terms as ``docs/tariff.md`` has them, prices as text."""

    terms: dict[str, Any]
    note: str
    made_ms: int
    withdrawn_ms: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidPhoto:
    """A photo: ``event`` is the event's number in the document, ``jpeg`` its bytes."""

    event: int
    caption: str
    made_ms: int
    jpeg: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class SaidAlerts:
    """Quiet hours, the letter, and rules that are not as they come. Channels are not in it."""

    settings: AlertSettings
    rules: dict[str, RuleSetting]


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """The document, in the order in which the parts of it are added.

    An ``id`` in it is its number where it was written: where it is read, it only tells which event
    a photo is of. What was taken back is in it too, with the instant.
    """

    form: Literal["joulebook-said-1"]
    site: str
    timezone: str
    facts: SiteFacts
    events: list[Event]
    corrections: list[Correction]
    tariffs: list[SaidTariff]
    deep_tests: list[DeepTest]
    sign_offs: list[SignOff]
    alerts: SaidAlerts
    # The last, and none in documents of before there were any.
    photos: list[SaidPhoto] = field(default_factory=list)


@names_faults
def said_of(connection: Connection, site: Site) -> Said:
    """Return what was said of a site, as of one commit."""
    with joined_snapshot(connection):
        rules = rule_settings(connection, site.id)
        return Said(
            form=FORM,
            site=site.name,
            timezone=site.timezone,
            facts=facts_of(site),
            events=events_of(connection, site.id, removed=True),
            corrections=corrections_of(connection, site.id, withdrawn=True),
            tariffs=[
                SaidTariff(
                    terms=document_of(one.tariff),
                    note=one.note,
                    made_ms=one.made_ms,
                    withdrawn_ms=one.withdrawn_ms,
                )
                for one in tariffs_of(connection, site.id, withdrawn=True)
            ],
            deep_tests=deep_tests_of(connection, site.id),
            sign_offs=sign_offs_of(connection, site.id),
            alerts=SaidAlerts(
                settings=alert_settings(connection, site.id),
                rules={name: one for name, one in rules.items() if one != RuleSetting()},
            ),
            photos=[
                SaidPhoto(event=one.event_id, caption=one.caption, made_ms=one.made_ms, jpeg=jpeg)
                for one, jpeg in whole_photos(connection, site.id)
            ],
        )
