"""Recording an engine through an OBD adapter."""
