"""The pages: handlers that parse, ask once and answer."""
