"""A solve looked at again: how it was done, what would have been better, what mattered most."""
