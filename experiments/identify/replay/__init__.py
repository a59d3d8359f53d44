"""The pneumatics replayed under a recorded command, many candidates side by side."""
