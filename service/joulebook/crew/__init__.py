"""Floor 2½: a task for each home, done by a crew: threads here, or workers of a scheduler."""
