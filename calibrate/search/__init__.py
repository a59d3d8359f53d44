"""Set-point searches."""
