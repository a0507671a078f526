"""Whether a site is wired and talking right: checks on the readings of the last days."""
