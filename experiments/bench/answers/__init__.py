"""What the bench answers: pure functions from what is asked to figures and curves."""
