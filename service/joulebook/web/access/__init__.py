"""Who asks, and what he may see or change."""
