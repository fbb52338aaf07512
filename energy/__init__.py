"""The air and the heat: rotor, generator, heater, and the ledger that sets them against the fuel."""
