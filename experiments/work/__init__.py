"""Independent pieces of work in chunks, the output folder, and the looks of figures."""
