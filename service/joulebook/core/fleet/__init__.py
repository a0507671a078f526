"""Many homes beside each other: who is like whom, and who does worse than those."""
