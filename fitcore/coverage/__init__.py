"""Which legs of a set get a size of a chart, in figures and as a picture."""
