"""What the trade knows: readings, sizes and safety. No screen; no file or clock outside `disk`."""

from datetime import date

BUILT_ON = date(2026, 11, 25)
"""When this version was made; set with each release."""
