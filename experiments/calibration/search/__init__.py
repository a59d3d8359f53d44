"""Set-point searches on virtual fingers: one trial in detail, or a study of strategies."""
