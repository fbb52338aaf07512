"""The scenario file: its keys, its CSV files, reading and checking it, and the numbers that it states."""
