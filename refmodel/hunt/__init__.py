"""Random cases aimed at what meets on one edge: drawn, counted, shrunk, grouped."""
