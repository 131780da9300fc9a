"""The calculations offered to people, a module for each side of the boiler; `calculations.py` runs them."""
