"""Floor 1: the only SQL in the house."""
