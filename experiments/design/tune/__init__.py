"""Settings of the control law for many fingers at once."""
