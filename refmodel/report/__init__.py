"""What a person or a machine reads of a run: terminal, waves, JUnit, JSON."""
