"""How probably a fresh measuring comes to the same size, and what is said of it."""
