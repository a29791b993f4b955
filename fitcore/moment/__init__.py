"""When and how a leg was measured: conditions, clocks, postures, and the swelling of the day."""
