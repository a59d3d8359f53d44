"""One self-contained report for the design file."""
