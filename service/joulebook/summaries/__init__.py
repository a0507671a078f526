"""Floor 2: dirty days to results. Knows nothing of ingest, and ingest nothing of it."""
