"""Evidence without a simulator: captures of a real machine or of a bench, held to the model."""
