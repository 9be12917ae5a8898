"""Times, penalties and averages by the Regulations, in whole milliseconds. Pure."""
