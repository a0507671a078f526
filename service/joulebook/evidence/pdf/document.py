"""The PDF: who, what, how sure, from what; then what is not known, and how to check it."""

import io
from collections.abc import Callable, Iterator

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, SimpleDocTemplate

from joulebook.evidence import texts
from joulebook.evidence.gathered import Gathered
from joulebook.evidence.pdf import battery_parts, record_parts
from joulebook.evidence.pdf.blocks import heading, lead, listed, paragraph, table, title
from joulebook.evidence.pdf.headline import headline_rows, sentences
from joulebook.evidence.pdf.words import moment
from joulebook.evidence.raw import RawReadings

_MARGIN = 18 * mm
_SIZES = {"a4": A4, "letter": LETTER}


def evidence_pdf(gathered: Gathered, raw: RawReadings, paper: str) -> bytes:
    """Return the PDF; the same bytes whenever it tells the same.

    Parameters
    ----------
    paper : str
        ``a4`` or ``letter``.
    """
    size = _SIZES[paper]
    out = io.BytesIO()
    document = SimpleDocTemplate(
        out,
        pagesize=size,
        leftMargin=_MARGIN,
        rightMargin=_MARGIN,
        topMargin=_MARGIN,
        bottomMargin=_MARGIN,
        title=f"Evidence on the battery of {gathered.site.name}",
        author=f"joulebook {gathered.version}",
        invariant=1,
        lang="en",
    )
    footer = _footer(gathered)
    # SimpleDocTemplate keeps 6 points free on either side of its frame.
    story = list(_story(gathered, raw, size[0] - 2 * _MARGIN - 12))
    document.build(story, onFirstPage=footer, onLaterPages=footer)
    return out.getvalue()


def _footer(gathered: Gathered) -> Callable[[Canvas, SimpleDocTemplate], None]:
    head = gathered.links[-1].hash.hex() if gathered.links else "nothing was sealed yet"

    def draw(canvas: Canvas, document: SimpleDocTemplate) -> None:
        canvas.saveState()
        canvas.setFont("Helvetica", 7)
        canvas.drawString(_MARGIN, 10 * mm, f"chain: {head}")
        canvas.drawRightString(
            document.pagesize[0] - _MARGIN,
            *(10 * mm, f"{moment(gathered.made_ms)}   page {document.page}"),
        )
        canvas.restoreState()

    return draw


def _story(gathered: Gathered, raw: RawReadings, width: float) -> Iterator[Flowable]:
    yield title(f"Evidence on the battery of {gathered.site.name}")
    yield paragraph(f"Made {moment(gathered.made_ms)} by joulebook {gathered.version}.")
    for sentence in sentences(gathered):
        yield lead(sentence)
    yield paragraph(texts.NO_ADVICE)
    yield heading("Headline numbers")
    yield from table(
        ("What", "Value", "90 % interval", "Measured", "Method"),
        headline_rows(gathered),
        (30, 22, 24, 11, 13),
        width=width,
    )
    yield paragraph(texts.NOT_A_TEST)
    yield from record_parts.site_part(gathered, width)
    yield from record_parts.signed_part(gathered, width)
    yield from battery_parts.capacity_part(gathered, width)
    yield from battery_parts.forecast_part(gathered, width)
    yield from battery_parts.years_part(gathered, width)
    yield from battery_parts.round_trip_part(gathered, width)
    yield from battery_parts.limits_part(gathered, width)
    yield from record_parts.said_part(gathered, width)
    yield from record_parts.coverage_part(gathered, width)
    yield from record_parts.chain_part(gathered, width)
    yield heading("What is not known")
    yield from listed(_not_known(gathered))
    yield heading("How to check this file")
    yield from listed(texts.how_to_check())
    yield from table(("File", "What it holds"), texts.what_is_in(raw), (30, 70), width=width)
    yield paragraph(texts.METHODS)
    yield heading("Cautions")
    yield from listed(texts.CAUTIONS)


def _not_known(gathered: Gathered) -> list[str]:
    """Return what nobody can tell of any record, and what this one lacks."""
    wear = gathered.wear
    flags = wear.get("measured", {}).get("flags", [])
    assumed = wear["warranty"].get("assumed", [])
    return [
        *texts.NOT_KNOWN,
        *(f"Of this record: {each}." for each in flags),
        *(f"Of the terms: {each}." for each in assumed),
    ]
