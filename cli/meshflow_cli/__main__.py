"""Run the command line as ``python -m meshflow_cli``."""

from meshflow_cli.main import main

main()
