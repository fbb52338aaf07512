"""Air, section polars, blade and rotor curves, and where rotor and generator turn together."""
