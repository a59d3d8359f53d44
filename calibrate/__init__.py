"""What decides the target: set-point search and calibration schedules."""
