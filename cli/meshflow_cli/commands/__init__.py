"""One module for each command; each defines ``command``."""
