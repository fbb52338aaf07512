"""Measurements back to causes."""
