"""Checks of several rigs side by side."""
