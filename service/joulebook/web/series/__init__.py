"""Readings of a series as lines, in as much detail as a picture of some width can show."""
