"""Test vectors: a stimulus that Python and C make alike, and what the simulator's own functions answer to it."""
