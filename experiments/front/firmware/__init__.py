"""Functions of `import cuffloop` for whoever writes the firmware."""
