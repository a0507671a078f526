import pytest

from joulebook.web.figures.palette import PALETTES
from tests.helpers.pages import Studio

_FIGURES = "/sites/studio/figures"


@pytest.mark.parametrize("path", ["/week", "/week?week=2026-W09", "/days/2026-03-03", "/months"])
def test_a_figure_comes_in_the_colours_of_the_page(studio: Studio, path: str) -> None:
    separator = "&" if "?" in path else "?"
    for scheme, palette in PALETTES.items():
        document = studio.client.get(f"{_FIGURES}{path}{separator}scheme={scheme}").json()
        assert document["layout"]["paper_bgcolor"] == palette.paper
    assert studio.client.get(f"{_FIGURES}{path}").json()["layout"]["paper_bgcolor"] == (
        PALETTES["light"].paper
    )


def test_a_week_has_what_was_fed_in(studio: Studio) -> None:
    panels = studio.client.get(f"{_FIGURES}/week?week=2026-W09").json()["data"][0]
    assert panels["y"][:5] == pytest.approx([36.0] * 5)
    assert panels["y"][6] is None


def test_a_day_has_two_points_a_pixel_at_most(studio: Studio) -> None:
    wide = studio.client.get(f"{_FIGURES}/days/2026-02-24?width=390").json()
    assert [len(trace["x"]) for trace in wide["data"]] == [288] * 5
    narrow = studio.client.get(f"{_FIGURES}/days/2026-02-24?width=72").json()
    assert [len(trace["x"]) for trace in narrow["data"]] == [48] * 5
    assert (
        "the least and the greatest reading of every 60.0 min"
        in narrow["layout"]["xaxis"]["title"]["text"]
    )


def test_the_gap_of_a_day_is_one(studio: Studio) -> None:
    (panels, *_) = studio.client.get(f"{_FIGURES}/days/2026-03-03").json()["data"]
    assert panels["y"].count(None) == 1


@pytest.mark.parametrize(
    ("path", "title"),
    [
        ("/week?week=soon", "Not a week"),
        ("/days/soon", "Not a date"),
        ("/days/2026-03-05", "Not yet"),
        ("/days/2026-03-03?width=0", "Not a width"),
    ],
)
def test_what_has_no_figure(studio: Studio, path: str, title: str) -> None:
    assert studio.client.get(f"{_FIGURES}{path}").json()["title"] == title


def test_a_site_without_readings_has_empty_figures(empty: Studio) -> None:
    assert empty.client.get(f"{_FIGURES}/months").json()["data"][0]["y"] == []
    assert empty.client.get(f"{_FIGURES}/days/2026-03-04").json()["data"] == []
    assert empty.client.get(f"{_FIGURES}/week").json()["data"][0]["y"] == [None] * 7


@pytest.mark.parametrize("path", ["/efficiency", "/capacity", "/depths", "/warranty"])
def test_figures_of_the_record_come_in_the_colours_of_the_page(short: Studio, path: str) -> None:
    for scheme, palette in PALETTES.items():
        document = short.client.get(f"{_FIGURES}{path}?scheme={scheme}").json()
        assert document["layout"]["paper_bgcolor"] == palette.paper
        assert document["data"]


def test_figures_of_a_record_that_is_not_analysed(studio: Studio) -> None:
    assert studio.client.get(f"{_FIGURES}/efficiency").json()["data"][0]["y"] == []
    assert sum(studio.client.get(f"{_FIGURES}/depths").json()["data"][0]["y"]) == 8.5
    for path in ("/capacity", "/warranty"):
        answer = studio.client.get(_FIGURES + path)
        assert answer.status_code == 404
        assert "has not been analysed yet" in answer.json()["detail"]
