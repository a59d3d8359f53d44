"""Figures of a rig over one or more of its parameters."""
