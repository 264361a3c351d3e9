"""What each command does: the parts strung together. It may know every part but the doors (cli, plugin)."""
