"""Failures: what can break, what it does, and what acts."""
