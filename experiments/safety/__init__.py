"""Studies for a safety reviewer: failures, and the report."""
