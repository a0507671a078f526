import pytest

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
