"""Run the command line as ``python -m meshflow``."""

import importlib

# By name, because the library must not depend on its command line.
importlib.import_module("meshflow_cli.main").main()
