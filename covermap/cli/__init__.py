"""cli: words to arguments, errors to one line. One file a command; it computes nothing."""

from covermap.cli.main import main

__all__ = ["main"]
