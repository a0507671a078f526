"""Everything that is English for readers, apart from what only a template says."""
