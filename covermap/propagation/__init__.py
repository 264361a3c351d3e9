"""propagation: path loss. Numbers in, numbers out; it knows no files, maps or commands."""
