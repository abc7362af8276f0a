"""How much a bench would miss: one-point changes of a core, and what became of each."""
