"""How long to leave alone what does not answer."""

from dataclasses import dataclass


@dataclass(slots=True)
class Backoff:
    """Waits that double from the first failure on, up to a longest. [s]"""

    first_s: float = 1.0
    longest_s: float = 60.0
    failures: int = 0

    def failed(self) -> float:
        """Count a failure and return how long to wait now. [s]"""
        self.failures += 1
        return float(min(self.longest_s, self.first_s * 2 ** min(self.failures - 1, 30)))

    def succeeded(self) -> int:
        """Begin anew, and return how many failures that ends."""
        ended, self.failures = self.failures, 0
        return ended
