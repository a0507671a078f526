"""Many homes: which are asked for, in which order, and as a table."""
