"""Studies of the target: searches, schedules, height, wear time."""
