"""Virtual people on whom the readings are fitted and judged."""
