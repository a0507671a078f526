"""What the setup pages ask for, take and miss; their handlers are in pages/setup."""
