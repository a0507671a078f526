"""Finding out what equipment is, where it describes itself as SunSpec asks."""
