"""Built-in rigs (TOML), invented for demonstration."""
