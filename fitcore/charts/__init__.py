"""Makers' size charts, and the size a leg gets in one."""
