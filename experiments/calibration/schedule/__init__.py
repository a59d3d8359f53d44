"""Calibration schedules compared on fingers and scenarios."""
