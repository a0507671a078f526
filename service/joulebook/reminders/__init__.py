"""Reminders: alerts with a reason, and the weekly letter."""
