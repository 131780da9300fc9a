"""The ways by which a notice reaches a person, a folder each. None of them reads the database or the clock."""
