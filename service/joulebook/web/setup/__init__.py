"""What the setup pages know and say; their handlers are in pages/setup."""
