"""Floor 2: readings out of the house, as tables that other programs read and we read back."""
