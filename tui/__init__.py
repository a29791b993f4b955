"""The face of anklefirst: the screens and the command line. It decides nothing about a leg."""

VERSION = "0.1.0"
"""The same as in pyproject.toml (a test compares them); read without the package's metadata, which
is missing in a checkout and stale after an edit."""
