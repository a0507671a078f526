"""joulebook: log a home battery and inverter, and say how they do."""

__version__ = "0.1.0"
