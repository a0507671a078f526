"""The evidence file: what a claims desk can check without trusting the owner or us."""
