"""Review of a solve: how it was done, which ways were better, what cost most time."""
