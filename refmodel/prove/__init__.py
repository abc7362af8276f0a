"""Proofs: the block's own `next_state` run on symbols, and what follows for all inputs."""
