"""Whole documents: the report and the run sheet."""
