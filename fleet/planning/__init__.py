"""PURE. The order of work on a visit; rounds and season spread are to come."""
