"""tables: CSV tables of physics, trade and regulation, and the one loader for them."""
