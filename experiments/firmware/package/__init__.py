"""The package a reviewer gets: C, settings, vectors, a check that builds anywhere, and where each line comes from."""
