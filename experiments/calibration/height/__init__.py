"""What a raised hand does to the reading, and what a height sensor makes good."""
