"""The road: tractive force, engine and fuel, logs and comparisons. Knows nothing of turbines."""
