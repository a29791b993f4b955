"""Pressure classes, what was prescribed, and what a garment presses up the leg."""
