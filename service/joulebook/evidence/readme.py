"""The README of an evidence file."""

from textwrap import fill

from joulebook.evidence import texts
from joulebook.evidence.gathered import Gathered
from joulebook.evidence.raw import RawReadings
from joulebook.evidence.tables import instant

_WIDTH = 96


def readme_text(gathered: Gathered, raw: RawReadings) -> str:
    """Return what the file is, what is in it and how to check it."""
    parts = [
        f"Evidence on the battery of {gathered.site.name}",
        f"Made {instant(gathered.made_ms)} by joulebook {gathered.version}.",
        fill(texts.NO_ADVICE, _WIDTH),
        "How to check it",
        "\n".join(
            fill(step, _WIDTH, initial_indent=f"{number}. ", subsequent_indent="   ")
            for number, step in enumerate(texts.how_to_check(), start=1)
        ),
        "What is in it",
        "\n".join(
            fill(f"{name}: {words}", _WIDTH, subsequent_indent="   ")
            for name, words in texts.what_is_in(raw)
        ),
        "Instants in columns that end in _ms are milliseconds of UTC since 1970; all others are "
        "written\nout with their offset. An empty cell is missing, and never zero.",
        "The chain",
        fill(texts.CHAIN, _WIDTH),
        "What is not known",
        "\n".join(
            fill(each, _WIDTH, initial_indent="- ", subsequent_indent="  ")
            for each in texts.NOT_KNOWN
        ),
        "Cautions",
        "\n".join(
            fill(each, _WIDTH, initial_indent="- ", subsequent_indent="  ")
            for each in texts.CAUTIONS
        ),
    ]
    return "\n\n".join(parts) + "\n"
