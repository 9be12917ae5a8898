"""A data set of reviewed solves, for years of logs and many people."""
