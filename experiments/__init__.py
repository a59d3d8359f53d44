"""What people run."""
