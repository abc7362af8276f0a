"""Golden vectors: a scenario as files that any simulator's bench can play and check."""
