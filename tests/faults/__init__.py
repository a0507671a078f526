"""Faults on purpose: what goes in, what comes out, what is lost and what is doubled."""
