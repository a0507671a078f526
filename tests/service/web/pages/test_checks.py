from contextlib import closing
from pathlib import Path

from joulebook.core.corrections import Correction
from joulebook.storage.corrections import add_correction
from joulebook.web.words.check_sentences import lead_of
from tests.helpers.pages import NOW_MS, Studio, client_of, empty_studio, outline, words_of
from tests.helpers.stored_plants import LAST, noon_ms, plant_studio


def page_of(data_dir: Path, *, turned: bool) -> str:
    """Return the page of a plant that is wired right, or of one whose battery's clamp is not."""
    database, site, _ = plant_studio(data_dir)
    if turned:
        with closing(database.connect()) as connection:
            for place, quantity in enumerate(("power", "current")):
                turn = Correction(
                    id=place,
                    device="battery",
                    quantity=quantity,
                    kind="sign",
                    made_ms=noon_ms(LAST, site),
                )
                add_correction(connection, site, turn)
    answer = client_of(database, now_ms=noon_ms(LAST, site)).get("/sites/studio/checks")
    assert answer.status_code == 200
    return answer.text


def test_what_is_right_is_a_list_that_opens(tmp_path: Path) -> None:
    text = page_of(tmp_path, turned=False)
    words = words_of(text)
    # The plant's battery has one voltage all along, which a real one never has.
    assert "One thing needs a look; 23 checks found nothing wrong." in words
    assert "Good Battery: Is its sign right?" in words
    assert "Battery power is positive while charging" in words
    assert "Voltage of battery stayed the same to its last digit" in words
    assert "up to 5 June 2026 12:00 CDT" in words
    assert "checks-2: docs/methods/checks.md" in words
    # The word carries the verdict; its sign is not read aloud.
    assert {"aria-hidden": "true"} in outline(text).named("span")


def test_trouble_comes_first_with_what_to_look_at(tmp_path: Path) -> None:
    words = words_of(page_of(tmp_path, turned=True))
    assert "things need a look" in words
    trouble = words.index("What needs a look")
    assert trouble < words.index("What is as it should be")
    assert "Trouble Battery: Is its sign right?" in words
    assert "Look at:" in words
    assert "left over turned" in words


def test_what_could_not_be_told_is_folded(studio: Studio) -> None:
    words = words_of(studio.client.get("/sites/studio/checks").text)
    assert "Checks that could not tell" in words
    assert "Unclear" in words


def test_a_site_without_readings_says_what_to_do(empty: Studio) -> None:
    words = words_of(empty.client.get("/sites/studio/checks").text)
    assert "waits for its first reading" in words


def test_the_same_minute_is_not_computed_twice(tmp_path: Path) -> None:
    studio = empty_studio(tmp_path)
    analyses = studio.client.app.state.backing.analyses  # type: ignore[attr-defined]
    first = analyses.checks(studio.site, now_ms=NOW_MS)
    assert analyses.checks(studio.site, now_ms=NOW_MS + 1) is first
    assert analyses.checks(studio.site, now_ms=NOW_MS + 60_000) is not first
    carried = analyses.loads(studio.site, now_ms=NOW_MS)
    assert analyses.loads(studio.site, now_ms=NOW_MS + 1) is carried
    assert analyses.loads(studio.site, now_ms=NOW_MS + 60_000) is not carried


def test_the_answer_in_a_sentence() -> None:
    def lead(*verdicts: str) -> str:
        return lead_of([{"verdict": each} for each in verdicts])

    assert lead("good", "good") == ("All is as it should be, as far as readings tell: 2 checks.")
    assert lead("trouble", "good", "unclear") == (
        "One thing needs a look; 1 check found nothing wrong. 1 check could not tell."
    )
    assert lead("trouble", "trouble", "good") == (
        "2 things need a look; 1 check found nothing wrong."
    )
    assert lead("unclear") == "Nothing could be checked yet: the readings are too few."
