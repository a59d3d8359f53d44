"""All readings of one clamp, from the cuff's pressure to output, each with its interval."""
