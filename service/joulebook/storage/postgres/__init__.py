"""The same storage on a PostgreSQL server; loaded only where one is used."""
