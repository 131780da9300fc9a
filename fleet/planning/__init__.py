"""PURE. Rounds and season spread. Nothing here yet."""
