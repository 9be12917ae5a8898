"""What many solves say about practice, and whether it can be told from noise. Pure."""
