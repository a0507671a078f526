"""Many homes beside each other: what is told of each, ready to be shown."""
