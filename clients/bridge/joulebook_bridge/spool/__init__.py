"""Where readings wait on disk until the service has them."""
