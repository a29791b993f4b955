"""What the trade knows: readings, sizes and safety. No screen; no file or clock outside `disk`."""
