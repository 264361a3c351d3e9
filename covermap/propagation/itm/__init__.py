"""itm: the irregular terrain model, by profile and by kind of ground. Numbers in, numbers out."""
