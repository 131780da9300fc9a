"""The records that a replay keeps of each position, what an entry does to them, and their clocks."""
