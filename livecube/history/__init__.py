"""The history: a SQLite database of solves, and the log of each beside it."""
