"""Decodes messages and writes what they hold in one transaction."""

import logging
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from joulebook.errors import JoulebookError
from joulebook.ingest.again import again
from joulebook.ingest.decode import Decoder
from joulebook.ingest.layouts import Layout, Row, RowGroups
from joulebook.ingest.mapping.translate import Mappings
from joulebook.ingest.message import Message, Verdict
from joulebook.ingest.outcomes import Decoded
from joulebook.ingest.sitebook import SiteBook
from joulebook.storage.database import Database, transaction
from joulebook.storage.quarantine import put_aside, take_back
from joulebook.storage.records import DeviceRows, Quarantined, Refused, Written
from joulebook.storage.series import (
    SeriesMismatch,
    SeriesRegister,
    TooManyDevices,
    TooManySeries,
    devices_of,
    series_of,
)
from joulebook.storage.writing import write_rows

log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What a commit did: a verdict for each message, in order, and what it counted."""

    verdicts: list[Verdict]
    written: Written
    reasons: Counter[str]  # of the messages and parts that are quarantined

    @property
    def quarantined(self) -> int:
        """Messages and parts of messages that were put aside."""
        return self.reasons.total()

    def __add__(self, other: "Outcome") -> "Outcome":
        return Outcome(
            self.verdicts + other.verdicts,
            self.written + other.written,
            self.reasons + other.reasons,
        )


class Committer:
    """Writes messages over one connection, which belongs to the thread that made this.

    Parameters
    ----------
    mappings : Mappings, optional
        What other bridges publish, on topics of their own.
    """

    def __init__(self, database: Database, mappings: Mappings | None = None) -> None:
        self._connection = database.connect()
        self._register = SeriesRegister()
        self._sites = SiteBook(database)
        self._decoder = Decoder(self._sites.id_of, mappings)

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()

    def commit(self, messages: Sequence[Message]) -> Outcome:
        """Store what messages hold; on disk by the time it returns.

        A message that trips a bug of ours is found by halving, and quarantined as
        ``internal-error``; the others are stored.

        Raises
        ------
        StorageUnavailableError
            If nothing can be written now. Trying again with the same messages is safe.
        """
        try:
            return self._commit_together(messages)
        except JoulebookError:
            raise
        except Exception as error:
            if len(messages) < 2:
                log.exception("a message tripped a bug and is quarantined")
                return self._quarantine(messages, error)
            log.warning("%r stopped %d messages; trying them in halves", error, len(messages))
        middle = len(messages) // 2
        return self.commit(messages[:middle]) + self.commit(messages[middle:])

    def _commit_together(self, messages: Sequence[Message]) -> Outcome:
        while True:
            groups = RowGroups()
            refused: list[Refused] = []
            verdicts: list[Verdict] = []
            for message in messages:
                decoded = self._decoder.decode(message)
                for layout, at_ms, row in decoded.rows:
                    groups.add(layout, at_ms, row)
                refused += decoded.refused
                verdicts.append(decoded.verdict)
            try:
                written = self._write(groups, refused)
            except (SeriesMismatch, TooManySeries, TooManyDevices) as refusal:
                # The decoder has learned of it and refuses, or converts, those readings now.
                log.info("%s", refusal)
            else:
                return Outcome(verdicts, written, Counter(one.reason for one in refused))

    def take_again(self, kept: Sequence[Quarantined], *, now_ms: int) -> list[Quarantined]:
        """Store those of what was set aside that can be stored whole now, and return them.

        On disk by the time it returns, and no longer set aside; the others stay as they are.

        Parameters
        ----------
        now_ms : int
            Now, by a clock that is right. [ms, UTC epoch]

        Raises
        ------
        StorageUnavailableError
            If nothing can be written now.
        """
        while True:
            groups = RowGroups()
            taken = []
            for each in kept:
                decoded = self._decoded_again(each, now_ms)
                if decoded is not None and decoded.rows and not decoded.refused:
                    taken.append(each)
                    for layout, at_ms, row in decoded.rows:
                        groups.add(layout, at_ms, row)
            try:
                if taken:
                    self._write(groups, [], taken)
            except (SeriesMismatch, TooManySeries, TooManyDevices) as refusal:
                log.info("%s", refusal)
            else:
                return taken

    def _decoded_again(self, kept: Quarantined, now_ms: int) -> Decoded | None:
        """Return what a message holds by now; nothing where it trips a bug of ours, still."""
        try:
            return self._decoder.decode(again(kept, self._sites.name_of, now_ms))
        except JoulebookError:
            raise
        except Exception:
            log.exception("message %d that is set aside trips a bug, and stays", kept.id)
            return None

    def _write(
        self, groups: RowGroups, refused: list[Refused], taken: Sequence[Quarantined] = ()
    ) -> Written:
        # What is set aside is counted for all sites together: only then others wait for us.
        quiet = not refused and not taken
        sites = {layout.site_id for layout, _ in groups.groups} if quiet else None
        try:
            with transaction(self._connection, sites):
                rows = [self._device_rows(layout, group) for layout, group in groups.groups]
                written = write_rows(self._connection, self._sites.zone_of, rows)
                put_aside(self._connection, refused)
                take_back(self._connection, taken)
        except BaseException:
            self._register.forget()  # a rollback has taken back what was made
            raise
        return written

    def _device_rows(self, layout: Layout, rows: list[Row]) -> DeviceRows:
        site_id, device = layout.site_id, layout.device
        try:
            series = self._register.resolve(self._connection, site_id, device, layout.columns)
        except SeriesMismatch as mismatch:
            # All of the site's at once, or each would cost all messages another try.
            for existing in (*series_of(self._connection, site_id), mismatch.existing):
                self._decoder.pin(existing)
            raise
        except TooManyDevices:
            self._decoder.close_site(site_id, devices_of(self._connection, site_id))
            raise
        except TooManySeries:
            stored = series_of(self._connection, site_id)
            names = frozenset(one.quantity for one in stored if one.device == device)
            self._decoder.close_device(site_id, device, names)
            raise
        return DeviceRows(site_id, series[0].device_id, series, rows)

    def _quarantine(self, messages: Sequence[Message], error: Exception) -> Outcome:
        refused = [
            Refused(
                site_id=message.site_id if self._sites.knows(message.site_id) else None,
                source=message.source,
                topic=message.topic,
                payload=message.payload,
                reason="internal-error",
                detail=f"a bug of joulebook, told in its log: {type(error).__name__}",
                received_ms=message.received_ms,
            )
            for message in messages
        ]
        put_aside(self._connection, refused)
        reasons = Counter(one.reason for one in refused)
        return Outcome([Verdict.QUARANTINED] * len(refused), Written(), reasons)


class RenewedCommitter:
    """A committer that is opened when it is needed, and anew after each fault. One thread's."""

    def __init__(self, database: Database, mappings: Mappings | None = None) -> None:
        self._database = database
        self._mappings = mappings
        self._committer: Committer | None = None

    def __enter__(self) -> Self:
        """Be closed at the end of the block."""
        return self

    def __exit__(self, *_: object) -> None:
        """Close what is open."""
        if self._committer is not None:
            self._committer.close()

    def commit(self, messages: Sequence[Message]) -> Outcome:
        """Commit, or leave nothing open: the connection may be what is broken."""
        if self._committer is None:
            self._committer = Committer(self._database, self._mappings)
        try:
            return self._committer.commit(messages)
        except BaseException:
            self._committer.close()
            self._committer = None
            raise
