"""The executed examples of SPEC.md: read, stepped on the model, and made into scenarios."""
