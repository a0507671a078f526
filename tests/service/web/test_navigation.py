from fastapi import APIRouter, FastAPI

from joulebook.web.navigation import ENTRIES, entries_of
from tests.helpers.pages import Studio, outline


def test_an_entry_shows_once_the_application_has_its_page() -> None:
    router = APIRouter()

    @router.get("/sites/{site}/money")
    def money_page() -> None:
        """Stands for the page; no test asks for it."""

    app = FastAPI()
    assert entries_of(app.routes) == ()
    app.include_router(router)
    assert [entry.words for entry in entries_of(app.routes)] == ["Money"]
    assert router.routes


def test_each_page_of_the_row_is_there_and_marks_itself(studio: Studio) -> None:
    shown = entries_of(studio.client.app.routes)  # type: ignore[attr-defined]
    assert len(shown) >= 9
    for entry in shown:
        answer = studio.client.get(entry.address("studio"), follow_redirects=True)
        assert answer.status_code == 200, entry.words
        page = outline(answer.text)
        marked = [each["href"] for each in page.named("a") if each.get("aria-current") == "page"]
        assert entry.address("studio") in marked, entry.words


def test_no_two_entries_are_alike() -> None:
    for names in zip(*((each.name, each.words, each.below) for each in ENTRIES), strict=True):
        assert len(set(names)) == len(ENTRIES) == 12
