"""The cube itself: positions, turns, notation, facelets, holdings. Pure."""
