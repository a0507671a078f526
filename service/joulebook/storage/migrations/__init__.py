"""The schema's history, only ever appended to."""
