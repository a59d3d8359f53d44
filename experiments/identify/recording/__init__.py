"""Recordings from a bench: what was played, what was measured, and whether it can be used."""
