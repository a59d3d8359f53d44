"""The servo between a finger and its reading, as readings see it: its response, taken back as far as that holds."""
