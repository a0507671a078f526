"""The weekly letter: one screen, six questions in six lines, anything new first."""

from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape

from joulebook.core.alerts.rules import BY_NAME
from joulebook.core.spans import date_of, local_day
from joulebook.reminders.letter_lines import answer_lines
from joulebook.reminders.messages import moment
from joulebook.storage.alerts import Episode, episodes_of
from joulebook.storage.database import Database
from joulebook.storage.events import Event, events_of
from joulebook.storage.records import Site
from joulebook.storage.seal_links import SealLink, last_link
from joulebook.summaries.checks_report import checks_report
from joulebook.summaries.efficiency_report import efficiency_report
from joulebook.summaries.loads_report import loads_report
from joulebook.summaries.numbers import Document
from joulebook.summaries.page_documents import page_document
from joulebook.summaries.results import day_results_of
from joulebook.summaries.wear_report import wear_report

#: Of what is new, at most so many lines.
_MOST_NEW = 8


@dataclass(frozen=True, slots=True)
class Letter:
    """A letter: its title, and the same words as plain text and as HTML."""

    title: str
    text: str
    html: str


@dataclass(frozen=True, slots=True)
class _Line:
    """A question, its answer, and the page of its working."""

    question: str
    answer: str
    page: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LetterDocuments:
    """The site's reports that the six lines are taken from."""

    checks: Document
    efficiency: Document
    loads: Document
    wear: Document


def letter_documents(
    database: Database, site: Site, *, now_ms: int, max_gap_s: float
) -> LetterDocuments:
    """Return the reports as of now; of the record those that were stored with its analysis."""
    with closing(database.connect()) as connection:
        efficiency, wear = (
            page_document(connection, site, name) for name in ("efficiency", "wear")
        )
    return LetterDocuments(
        checks=checks_report(database, site, None, None, now_ms=now_ms),
        efficiency=efficiency or efficiency_report(database, site, None, None),
        loads=loads_report(database, site, None, None, now_ms=now_ms, max_gap_s=max_gap_s),
        wear=wear or wear_report(database, site, None, None),
    )


def weekly_letter(
    database: Database, site: Site, documents: LetterDocuments, *, now_ms: int, address: str
) -> Letter:
    """Return the letter of the seven local days before today.

    Parameters
    ----------
    documents : LetterDocuments
        As of now.
    address : str
        Of the pages, as ``https://house.example``; empty where nobody knows it from outside.
    """
    today = date_of(now_ms, site.zone)
    first, last = today - timedelta(days=7), today - timedelta(days=1)
    days = day_results_of(database, site, first, last)
    with closing(database.connect()) as connection:
        since_ms = local_day(first, site.zone).start_ms
        episodes = episodes_of(connection, site.id, since_ms=since_ms)
        events = [each for each in events_of(connection, site.id) if each.at_ms >= since_ms]
        link = last_link(connection, site.id)
    lines = [
        _Line(question, answer, page)
        for question, answer, page in answer_lines(
            days,
            checks=documents.checks,
            efficiency=documents.efficiency,
            loads=documents.loads,
            wear=documents.wear,
        )
    ]
    new = list(_new(site, episodes, events))[:_MOST_NEW]
    title = f"{site.name}: the week to {last}"
    return Letter(
        title,
        _text(site, first, last, new, lines, link, address),
        _html(title, site, first, last, new, lines, link, address),
    )


def _new(site: Site, episodes: Sequence[Episode], events: Sequence[Event]) -> Iterator[str]:
    for each in episodes:
        if each.closed_ms is None:
            yield f"Since {moment(each.opened_ms, site.zone)}: {each.sentence}."
        else:
            rule = BY_NAME[each.rule].title if each.rule in BY_NAME else each.rule
            yield f"Over since {moment(each.closed_ms, site.zone)}: {rule}."
    for event in events:
        yield f"You noted, {moment(event.at_ms, site.zone)}: {event.title}."


def _head(first: date, last: date) -> str:
    return f"{first} to {last}, by the clock of the site."


def _foot(site: Site, link: SealLink | None) -> list[str]:
    foot = ["joulebook measures and reports. It never switches, sets or controls anything."]
    if link is not None:
        foot.append(
            f"Head of the chain of sealed days of {site.name}: {link.number} {link.hash.hex()}. "
            "Keep this letter: with it you can show later that nothing before it was changed."
        )
    return foot


def _text(
    site: Site,
    first: date,
    last: date,
    new: Sequence[str],
    lines: Sequence[_Line],
    link: SealLink | None,
    address: str,
) -> str:
    parts = [_head(first, last)]
    if new:
        parts.append("New\n" + "\n".join(f"- {each}" for each in new))
    for line in lines:
        where = f"\n  {address}/sites/{site.name}{line.page}" if address else ""
        parts.append(f"{line.question}\n  {line.answer}{where}")
    return "\n\n".join([*parts, *_foot(site, link)]) + "\n"


def _html(
    title: str,
    site: Site,
    first: date,
    last: date,
    new: Sequence[str],
    lines: Sequence[_Line],
    link: SealLink | None,
    address: str,
) -> str:
    fresh = "".join(f"<li>{escape(each)}</li>" for each in new)
    rows = "".join(
        f"<dt>{_linked(line, site, address)}</dt><dd>{escape(line.answer)}</dd>" for line in lines
    )
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title>'
        f"</head><body><h1>{escape(title)}</h1><p>{escape(_head(first, last))}</p>"
        f"{f'<h2>New</h2><ul>{fresh}</ul>' if fresh else ''}<dl>{rows}</dl>"
        f"{''.join(f'<p><small>{escape(each)}</small></p>' for each in _foot(site, link))}"
        "</body></html>\n"
    )


def _linked(line: _Line, site: Site, address: str) -> str:
    if not address:
        return escape(line.question)
    return f'<a href="{escape(address)}/sites/{site.name}{line.page}">{escape(line.question)}</a>'
