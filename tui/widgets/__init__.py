"""Small parts screens are made of."""
