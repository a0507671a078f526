"""Floor 3: the JSON API and the pages."""
