"""reception: from field strength to the antenna a cell needs. Arrays in, arrays out; it knows no files."""
