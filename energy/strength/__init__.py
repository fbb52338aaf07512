"""Forces on mount, bearing, blade roots and pitch linkage: equations, and the table of a scenario."""
