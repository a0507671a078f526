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
    try:
        needs_program("no-such-program-anywhere")
    except outcome as raised:  # pytest.raises lets a skip pass through
        assert "is not installed" in str(raised)
    else:
        pytest.fail("it returned")  # pragma: no cover - only when the check is broken
