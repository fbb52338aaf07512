"""Force at the wheels, and fuel from it."""
