"""C99 from the typed source of the pure functions on the tick: one definition, two languages."""
