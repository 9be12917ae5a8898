"""Learning the packets of an unknown cube from a recording of asked turns. Pure."""
