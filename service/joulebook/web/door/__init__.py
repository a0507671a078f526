"""What stands before every request and answer: how much, how long, and with which headers."""
