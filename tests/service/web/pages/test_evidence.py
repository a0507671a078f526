"""The page of evidence files, and its forms."""

import io
import zipfile
from contextlib import closing

from joulebook.evidence.shelf import FOLDER, MOST_FILES
from joulebook.storage.audit import audit_log
from joulebook.storage.seal_links import last_link
from joulebook.storage.sealing import seal
from tests.helpers.pages import Studio, words_of

PAGE = "/sites/studio/evidence"


def test_it_says_what_is_in_a_file_and_that_none_was_made(empty: Studio) -> None:
    page = empty.client.get(PAGE)
    assert page.status_code == 200
    words = words_of(page.text)
    assert "One file that a claims desk can check" in words
    assert "None yet." in words
    assert "Nothing is sealed yet" in words
    assert "It is no legal advice" in words


def test_a_file_is_made_fetched_and_deleted(empty: Studio) -> None:
    begun = empty.client.post(PAGE, data={"paper": "letter"})
    assert (begun.status_code, begun.headers["location"]) == (303, f"{PAGE}?done=begun")
    shelf = empty.client.app.state.backing.shelf  # type: ignore[attr-defined]  # FastAPI's
    again = empty.client.post(PAGE, data={"paper": "a4"})
    assert again.status_code == 422
    assert "is being made" in words_of(again.text)
    assert "Being made" in words_of(empty.client.get(PAGE).text)
    shelf.wait(60)
    [file] = shelf.files(empty.site)
    assert "Fetch" in words_of(empty.client.get(PAGE).text)
    fetched = empty.client.get(f"{PAGE}/files/{file.name}")
    assert fetched.headers["content-type"] == "application/zip"
    assert "check.py" in zipfile.ZipFile(io.BytesIO(fetched.content)).namelist()
    gone = empty.client.post(f"{PAGE}/files/{file.name}/delete", data={"proof": ""})
    assert gone.headers["location"] == f"{PAGE}?done=deleted"
    assert empty.client.get(f"{PAGE}/files/{file.name}").status_code == 404
    assert (
        empty.client.post(f"{PAGE}/files/{file.name}/delete", data={"proof": ""}).status_code == 404
    )
    with closing(empty.database.connect()) as connection:
        actions = [each.action for each in audit_log(connection)]
    assert actions == ["delete evidence file", "make evidence file"]


def test_a_paper_that_there_is_not_and_too_many_files_are_refused(empty: Studio) -> None:
    assert empty.client.post(PAGE, data={"paper": "a9"}).status_code == 422
    folder = empty.database.data_dir / FOLDER
    folder.mkdir()
    for second in range(MOST_FILES):
        (folder / f"studio-20260301T1200{second:02d}Z.zip").write_bytes(b"x")
    refused = empty.client.post(PAGE, data={"paper": "a4"})
    assert refused.status_code == 422
    assert "10 files of studio are kept: delete one of them." in words_of(refused.text)


def test_the_chains_head_is_shown(long: Studio) -> None:
    with closing(long.database.connect()) as connection:
        seal(connection, 1_799_539_200_000)
        link = last_link(connection, long.site.id)
    assert link is not None
    assert link.hash.hex() in words_of(long.client.get(PAGE).text)


def test_a_failure_is_told(empty: Studio) -> None:
    shelf = empty.client.app.state.backing.shelf  # type: ignore[attr-defined]  # FastAPI's
    shelf._failed["studio"] = "the disk is full"
    assert "The last file was not made: the disk is full" in words_of(empty.client.get(PAGE).text)
