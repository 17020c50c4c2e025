"""The command line: one module a command, each with `add_arguments` and `run`."""
