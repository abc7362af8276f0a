"""Lessons: one idea each, a prediction, and an experiment whose every result the model computed."""
