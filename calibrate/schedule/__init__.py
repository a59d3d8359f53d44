"""Schedules: when to look for the set point again."""
