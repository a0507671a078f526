"""A whole record analysed, in order."""
