"""Beats of a clamped reading: marks, values, and the reasons why a beat must not count."""
