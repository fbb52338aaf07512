"""Any log of an engine to one tidy table in SI."""
