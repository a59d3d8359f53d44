"""Plans of wear: lines, pictures and data."""
