"""What is computed for a question, from a scenario to a result."""
