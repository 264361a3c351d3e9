"""`python -m covermap`: the same as the covermap command."""

from covermap.cli import main

main()
