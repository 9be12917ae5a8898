"""Advice: which techniques are possible now, what each is worth, in words. Pure."""
