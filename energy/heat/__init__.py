"""The heated load: water, its warming in exact steps, kinds of load, capacity and loss from logs."""
