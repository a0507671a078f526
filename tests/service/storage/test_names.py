import pytest

from joulebook.errors import UsageError
from joulebook.storage.names import check_name


@pytest.mark.parametrize("name", ["a", "7", "shed-2", "a" * 63])
def test_a_name_that_does(name: str) -> None:
    check_name("a token", name)


@pytest.mark.parametrize("name", ["", "-a", "Shed", "a b", "a/b", "a" * 64, "schür", "a\n"])
def test_a_name_that_does_not(name: str) -> None:
    with pytest.raises(UsageError, match="cannot be the name of a token"):
        check_name("a token", name)
