"""Floor 2: every door that readings come in by, and the one writer behind them."""
