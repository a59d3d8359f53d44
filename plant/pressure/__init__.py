"""Arterial pressure over time: records, synthetic beats, events, and the beats and spectrum in it."""
