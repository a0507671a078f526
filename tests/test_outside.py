from pathlib import Path

import pytest

from tests.helpers.axe import fetch
from tests.helpers.outside import needs_program


def test_a_program_that_is_there() -> None:
    assert needs_program("sh").endswith("/sh")


@pytest.mark.parametrize(
    ("required", "outcome"), [("", pytest.skip.Exception), ("1", pytest.fail.Exception)]
)
def test_a_program_that_is_not_there(
    monkeypatch: pytest.MonkeyPatch, required: str, outcome: type[BaseException]
) -> None:
    monkeypatch.setenv("REQUIRE_OUTSIDE", required)
    with pytest.raises(outcome, match="is not installed"):
        needs_program("no-such-program-anywhere")


def test_a_package_is_fetched_whole_or_not_at_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept, npm = tmp_path / "kept" / "axe.tgz", tmp_path / "npm"
    # A stand-in for npm: it is asked as "npm pack --silent NAME@VERSION --pack-destination FOLDER".
    npm.write_text('#!/bin/sh\necho packed > "$5/$(echo "$3" | tr @ -).tgz"\n')
    npm.chmod(0o755)
    fetch(kept, str(npm))
    assert kept.read_text() == "packed\n"
    kept.unlink()
    npm.write_text("#!/bin/sh\necho no network >&2\nexit 1\n")
    monkeypatch.setenv("REQUIRE_OUTSIDE", "")
    with pytest.raises(pytest.skip.Exception, match="no network"):
        fetch(kept, str(npm))
    assert list(kept.parent.iterdir()) == []
