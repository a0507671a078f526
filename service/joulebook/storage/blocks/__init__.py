"""Sealed blocks: readings of a device as arrays to bytes and back; no SQL, no clock."""
