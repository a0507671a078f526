"""Errors that a person can act on; anything else is a bug and keeps its traceback."""


class BridgeError(Exception):
    """What went wrong, where, what was expected there, and what to do next: four lines."""

    exit_status = 1

    def __init__(self, what: str, *, where: str, expected: str, next_step: str) -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.expected = expected
        self.next_step = next_step

    def __str__(self) -> str:
        return (
            f"{self.what}\n"
            f"  where:    {self.where}\n"
            f"  expected: {self.expected}\n"
            f"  next:     {self.next_step}"
        )


class WrongError(BridgeError):
    """The command, a name or the token is wrong: trying again changes nothing."""

    exit_status = 2


class AwayError(BridgeError):
    """The service is away or did not answer: worth another try."""

    exit_status = 3
