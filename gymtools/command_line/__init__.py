"""The command line: what is typed in, one module a group of commands."""
