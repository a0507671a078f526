"""Floor 0: pure functions on numpy arrays. No input or output, no clock, no SQL."""
