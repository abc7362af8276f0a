"""Mutants of a core in the simulator and before a solver."""
