"""What `import cuffloop` has about readings."""
