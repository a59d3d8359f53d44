"""Somebody's own firmware in the loop, in a process of its own."""
