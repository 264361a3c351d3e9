"""inputs: everything a run will read, read and cross-checked in one place before the first path.

It opens files and knows what planning, reception and the grid ask of them; it writes nothing.
"""
