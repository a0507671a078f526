"""What became of fuzzed input, counted."""

from dataclasses import dataclass, field


@dataclass(slots=True)
class Tally:
    """What one door did with what it was sent.

    Attributes
    ----------
    exceptions : list of str
        What should not have happened: anything but the door's own refusal.
    stuck : int
        Connections that did not come to an end.
    """

    door: str
    sent: int = 0
    taken: int = 0
    refused: int = 0
    stuck: int = 0
    exceptions: list[str] = field(default_factory=list)

    @property
    def clean(self) -> bool:
        """Whether nothing happened that should not."""
        return not self.exceptions and not self.stuck

    def caught(self, error: Exception, data: bytes) -> None:
        """Note an exception, with the bytes that cause it again."""
        self.exceptions.append(f"{error!r} for {data[:400].hex()}")

    def row(self) -> str:
        """Return the line of a table."""
        return (
            f"{self.door:<28}{self.sent:>9}{self.taken:>9}{self.refused:>9}"
            f"{len(self.exceptions):>11}{self.stuck:>7}"
        )


HEAD = f"{'door':<28}{'sent':>9}{'taken':>9}{'refused':>9}{'exceptions':>11}{'stuck':>7}"
