"""What the PDF's parts are made of: headings, paragraphs, tables."""

from collections.abc import Sequence

from reportlab.lib.colors import Color
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Flowable, Paragraph, Spacer, Table, TableStyle

from joulebook.evidence.pdf.words import shown

_RULE = Color(0.6, 0.6, 0.6)
_BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=9, leading=12, spaceAfter=5)
_CELL = ParagraphStyle("cell", parent=_BODY, fontSize=8, leading=10, spaceAfter=0)
_HEAD = ParagraphStyle("head", parent=_CELL, fontName="Helvetica-Bold")
_LEAD = ParagraphStyle("lead", parent=_BODY, fontSize=11.5, leading=15, spaceAfter=6)
_TITLE = ParagraphStyle(
    "title", parent=_BODY, fontName="Helvetica-Bold", fontSize=18, leading=22, spaceAfter=4
)
_HEADING = ParagraphStyle(
    "heading",
    parent=_BODY,
    fontName="Helvetica-Bold",
    fontSize=12,
    leading=15,
    spaceBefore=12,
    spaceAfter=4,
    keepWithNext=1,
)


def title(words: str) -> Paragraph:
    """Return the title."""
    return Paragraph(shown(words), _TITLE)


def heading(words: str) -> Paragraph:
    """Return the heading of a part; it stays with what follows."""
    return Paragraph(shown(words), _HEADING)


def lead(words: str) -> Paragraph:
    """Return a sentence that answers."""
    return Paragraph(shown(words), _LEAD)


def paragraph(words: str) -> Paragraph:
    """Return a paragraph."""
    return Paragraph(shown(words), _BODY)


def listed(items: Sequence[str]) -> list[Flowable]:
    """Return a list of sentences."""
    return [Paragraph(f"\u2013 {shown(each)}", _BODY) for each in items]


def table(
    head: Sequence[str], rows: Sequence[Sequence[object]], widths: Sequence[float], *, width: float
) -> list[Flowable]:
    """Return a table, or a sentence where it has no rows.

    Parameters
    ----------
    widths : sequence of float
        Of the columns, in shares of ``width``.
    """
    if not rows:
        return [paragraph("None.")]
    cells = [
        [Paragraph(shown(cell), _HEAD) for cell in head],
        *([Paragraph(shown(cell), _CELL) for cell in row] for row in rows),
    ]
    whole = sum(widths)
    made = Table(cells, [width * each / whole for each in widths], repeatRows=1)
    made.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, _RULE),
                ("LINEBELOW", (0, 1), (-1, -1), 0.25, _RULE),
                ("LEFTPADDING", (0, 0), (-1, -1), 0),
                ("RIGHTPADDING", (0, 0), (-1, -1), 6),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    return [made, Spacer(1, 6)]
