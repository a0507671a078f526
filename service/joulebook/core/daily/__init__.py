"""One local day, and quarter hours: energy, balance, cycles, losses."""
