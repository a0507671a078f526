"""The evidence file for people: a PDF."""
