"""What a person or a machine reads of results: terminal, waves, JUnit, JSON, CSV, plots, pages."""
