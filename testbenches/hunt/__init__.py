"""Drawn cases in the simulator: played in batches, by one process or many, and made small."""
