"""Weeks, months and parts of days: how they are named, summed, compared and told."""
