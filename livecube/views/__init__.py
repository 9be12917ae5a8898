"""What people and programs are shown, as values and text. Pure."""
