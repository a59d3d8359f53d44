"""Failures on a loop whose firmware is somebody's."""
