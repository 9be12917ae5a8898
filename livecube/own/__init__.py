"""One's own hands and eyes: taken from kept solves, learned, kept, told."""
