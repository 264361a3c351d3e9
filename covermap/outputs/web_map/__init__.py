"""web_map: map.html, one file that opens without a network."""
