"""What went through the battery, what heat it saw, and what becomes of it."""
