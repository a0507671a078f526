"""The benchmark: what joulebook takes in bytes and time, beside other ways to keep readings."""
