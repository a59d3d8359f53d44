"""What runs on the tick, and what judges it."""
