"""The reader's region: how numbers, dates and times are written for it."""
