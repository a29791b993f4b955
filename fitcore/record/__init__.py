"""A session's record: entries and which of them hold, readings, edits, and the file's text."""
