"""The project's one drawing: lanes over time, the model as an outline and the core as a fill."""
