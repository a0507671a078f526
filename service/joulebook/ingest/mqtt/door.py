"""What the doors of MQTT ask of the inbox behind them."""

from collections.abc import Callable, Sequence
from typing import Protocol

from joulebook.ingest.message import Message, Verdict


class Inbox(Protocol):
    """Takes messages in, stores them, then says what became of them."""

    def put(
        self, messages: Sequence[Message], settled: Callable[[Sequence[Verdict]], None]
    ) -> None:
        """Take messages, from any thread and without waiting.

        ``settled`` is called after the commit, from any thread, with the verdicts in the order of
        the messages.
        """

    def has_room(self) -> bool:
        """Tell whether doors may go on reading."""
