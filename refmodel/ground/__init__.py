"""What every floor stands on: data in flight, change lists, bus cycles; errors, YAML, workers."""
