"""Slow studies: what is too long for every run of the tests, each a script that prints what it found."""
