"""The command line: one command, one file, no algorithm in it."""
