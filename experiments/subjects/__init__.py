"""Virtual fingers: populations, tables, what they differ in."""
