"""Draws over what is not known exactly, intervals, sensitivities, what a measurement would do."""
