"""What is lost on the way: round trip from full to full, idle draw, before and after."""
