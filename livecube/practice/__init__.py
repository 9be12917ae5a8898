"""The practice session: its phases, gestures, and reminders of breaks. Pure."""
