"""Data of the trade as TOML: protocols, ranges, rules and size charts, each with its source."""
