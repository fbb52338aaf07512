"""One module per subcommand of `windtoll`; each is imported only when it is asked for."""
