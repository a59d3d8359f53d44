def sweep_figures(a,b): return {}
