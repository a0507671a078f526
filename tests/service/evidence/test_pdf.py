"""The PDF's text, read by pypdf, an independent reader of PDF (ISO 32000)."""

import io
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from pypdf import PdfReader

from joulebook.core.corrections import Correction
from joulebook.core.spans import Span
from joulebook.evidence.gathered import gather
from joulebook.evidence.pdf.document import evidence_pdf
from joulebook.evidence.pdf.drawings import Band, band_drawing
from joulebook.evidence.pdf.headline import sentences
from joulebook.evidence.pdf.words import cells_of, fixed, percent, shown, within
from joulebook.evidence.raw import RawReadings
from tests.helpers.evidence_files import VERSION, Unpacked, made_evidence
from tests.helpers.pages import Studio, empty_studio
from tests.service.evidence.conftest import LONG_MS, SHALLOW_MS

NONE = RawReadings(series=(), span=Span(0, 0), whole=True)


def text_of(file: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(file).pages).split())


@pytest.fixture(scope="session")
def year(whole: Unpacked) -> str:
    return text_of(whole.folder / "evidence.pdf")


def test_the_answer_comes_first_with_its_interval(year: str) -> None:
    first = year.index("Evidence on the battery of studio")
    assert first < year.index("The battery holds") < year.index("Headline numbers")
    assert "The battery holds 196.7 Ah (90 % interval 191.4 to 202.0 Ah) on 2027-01-09" in year
    assert "It loses 1.9 % a year (90 % interval 1.5 % to 2.3 %)." in year
    assert "That it holds 70 % until 2035-12-20: very likely to hold (chance above 99 %)." in year


@pytest.mark.parametrize(
    "words",
    [
        "It is no legal advice",
        "Site, equipment and terms, as the owner entered them",
        "Warranted share of rated charge 70 %",
        "Its serial number not entered",
        "Ana Potter, owner 1 good, 1 unclear",
        "Told by 369 of 370 nights",
        "The battery says of itself: 100 % of health (battery)",
        "Reserve 10 %",
        "Beyond the limit for",
        "not given: the terms' limit was not entered",
        "every sealed day was compared with it, and fits",
        "What is not known",
        "direct current draws arcs",
        "python check.py",
    ],
)
def test_it_says(year: str, words: str) -> None:
    assert words in year


def test_every_page_bears_the_head_of_the_chain(whole: Unpacked) -> None:
    assert whole.made.head is not None
    pages = PdfReader(whole.folder / "evidence.pdf").pages
    assert len(pages) >= 4
    assert all(whole.made.head in page.extract_text() for page in pages)


def test_it_comes_on_either_paper(shallow: Studio, tmp_path: Path) -> None:
    file = made_evidence(shallow, tmp_path / "file", now_ms=SHALLOW_MS, paper="letter")
    box = PdfReader(file.folder / "evidence.pdf").pages[0].mediabox
    assert (float(box.width), float(box.height)) == (612.0, 792.0)  # 8.5 by 11 inches


def test_numbers_that_are_refused_say_why(shallow: Studio, tmp_path: Path) -> None:
    file = made_evidence(shallow, tmp_path / "file", now_ms=SHALLOW_MS)
    text = text_of(file.folder / "evidence.pdf")
    assert "The capacity is not given, since" in text
    assert "What it loses a year is not given, since" in text
    assert "years are assumed" in text


def test_a_site_without_readings_has_a_pdf_too(tmp_path: Path) -> None:
    empty = empty_studio(tmp_path / "data")
    file = made_evidence(empty, tmp_path / "file", now_ms=LONG_MS)
    text = text_of(file.folder / "evidence.pdf")
    assert "Nothing was sealed yet." in text
    assert "Whether it will hold until the warranty ends is not given" in text
    assert "The battery says nothing of its own health." in text


def test_what_does_not_fit_is_listed_up_to_twenty(long: Studio) -> None:
    found = gather(long.database, long.site, made_ms=LONG_MS, version=VERSION, max_gap_s=300.0)
    wrong = replace(
        found,
        broken=found.links[4],
        differing=[f"the readings of day {number} differ" for number in range(30)],
        sign_offs=[replace(each, sha256="0" * 64) for each in found.sign_offs],
    )
    pages = PdfReader(io.BytesIO(evidence_pdf(wrong, NONE, "a4"))).pages
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert "link 5, " in text
    assert "And 11 more." in text
    assert "the document was changed" in text


def test_one_point_makes_no_picture_and_corrections_are_listed(long: Studio) -> None:
    found = gather(long.database, long.site, made_ms=LONG_MS, version=VERSION, max_gap_s=300.0)
    scaled = Correction(
        id=1,
        device="battery",
        quantity="current",
        kind="scale",
        value=0.5,
        from_ms=None,
        to_ms=LONG_MS,
        note="Two clamps in one",
        made_ms=LONG_MS,
        withdrawn_ms=LONG_MS,
    )
    excluded = replace(scaled, kind="exclude", value=None, from_ms=0, to_ms=None, withdrawn_ms=None)
    day = {"date": "2026-01-05", "coverage_ratio": 0.5}
    short = replace(
        found,
        wear=found.wear | {"capacity": found.wear["capacity"][:1]},
        corrections=[scaled, excluded],
        days=[day, day | {"date": "2026-01-06", "coverage_ratio": 0.0}],
    )
    text = " ".join(
        " ".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)
        for pdf in [evidence_pdf(short, NONE, "a4")]
    )
    text = " ".join(text.split())
    assert "the dashes are the rated charge" not in text
    assert "scale 0.5 all before 2027-01-10 00:00 UTC Two clamps in one 2027" in text
    assert "battery/current exclude 1970-01-01 00:00 UTC all after Two clamps in one" in text
    assert "2026 2 25.0 % 2 1" in text


def test_chances_near_their_ends_are_never_certain(long: Studio) -> None:
    found = gather(long.database, long.site, made_ms=LONG_MS, version=VERSION, max_gap_s=300.0)

    def last(probability: float) -> str:
        terms = found.wear["warranty"] | {"probability_met": probability}
        return list(sentences(replace(found, wear=found.wear | {"warranty": terms})))[-1]

    assert last(0.004).endswith("(chance below 1 %).")
    assert last(0.5).endswith("(chance 50 %).")


def test_letters_that_the_font_lacks_are_named_and_marks_are_escaped() -> None:
    assert shown("Żółw & <kiln> 5 °C €") == "[U+017B]ó[U+0142]w &amp; &lt;kiln&gt; 5 °C €"


def test_numbers_are_written_with_points_and_thin_thousands() -> None:
    assert fixed(12345.678, 1) == "12 345.7"
    assert fixed(None, 1) == percent(None) == "not given"
    assert within(None, 2.0, 1) == ""
    assert cells_of({"x": 0.5, "low": None, "high": None}, ("x", "low", "high"), 1, 100.0) == (
        *("50.0", "", "", ""),
    )


def test_a_picture_scales_itself_and_draws_its_level() -> None:
    days = [date(2026, 12, 1), date(2027, 2, 1)]
    drawing = band_drawing(
        Band(days, [100.0, 90.0], [95.0, 85.0], [105.0, 95.0]),
        width=400,
        height=150,
        unit="Ah",
        level=(200.0, "rated"),
    )
    words = {each.text for each in drawing.contents if hasattr(each, "text")}
    assert {"Ah", "rated", "2026-12-01", "2027-02-01", "100", "200"} <= words
    plain = band_drawing(
        Band(days, [100.0, 90.0], [95.0, 85.0], [105.0, 95.0]), width=400, height=150, unit="Ah"
    )
    assert "rated" not in {each.text for each in plain.contents if hasattr(each, "text")}
