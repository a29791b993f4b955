"""Readings that may not be right: ranges, slips, neighbours, the other leg, repeats."""
