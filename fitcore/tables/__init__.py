"""A maker's printed table, as pasted or in CSV, read into a chart file."""
