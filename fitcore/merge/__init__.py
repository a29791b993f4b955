"""Many laptops, one archive: joining copies, questions only a person can answer, what is missing.

Nothing here reads a clock, and no recorded time orders or chooses anything: order comes only from
lines that say which lines they were written instead of.
"""
