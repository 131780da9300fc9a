"""A replay laid out in time: states, classes, standings, and what time alone brings."""
