"""The road test: its runs, their windows, the effect, the plan."""
