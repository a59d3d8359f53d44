"""Tuning rules, and the limit that no linear controller passes."""
