"""What other equipment or use would have done in a year that was measured."""
