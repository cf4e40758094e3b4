"""One file per group of command-line commands."""
