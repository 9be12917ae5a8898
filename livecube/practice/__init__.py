"""The practice session: what comes when, gestures, when to take a break. Pure."""
