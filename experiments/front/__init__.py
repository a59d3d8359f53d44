"""The functions of `import cuffloop`: what every command computes, as a result that prints, plots and is data."""
