"""Readings of a home battery and inverter, sent to joulebook. Never writes to equipment."""
