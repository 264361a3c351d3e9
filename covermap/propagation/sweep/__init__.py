"""sweep: the path loss of ITU-R P.1812-8 at every distance along a radial at once; it knows no cells."""
