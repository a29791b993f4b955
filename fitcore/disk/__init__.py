"""The edge: the only code of the core that opens a file, reads the clock or draws at random."""
