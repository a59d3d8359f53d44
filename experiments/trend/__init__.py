"""Readings over hours: under schedules and scenarios, on two fingers in turn, and with failures."""
