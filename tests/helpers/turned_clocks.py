"""A clock that stands still until a test turns it."""


class TurnedClock:
    """What stands for the time of a service, in its threads too.

    Attributes
    ----------
    now_ms : int
        What it tells whoever asks. [ms, UTC epoch]
    """

    def __init__(self, now_ms: int) -> None:
        self.now_ms = now_ms

    def __call__(self) -> int:
        return self.now_ms
