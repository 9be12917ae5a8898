"""Learning how an unknown cube speaks, from what it sent while its owner turned it. Pure."""
