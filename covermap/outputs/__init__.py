"""outputs: one writer a file. It formats results; it computes no physics."""
