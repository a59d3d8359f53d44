"""Frequency responses from recordings, and loops closed on them."""
