"""scenario: what the user describes, checked and frozen. It knows files of the user and tables, no terrain or physics."""
