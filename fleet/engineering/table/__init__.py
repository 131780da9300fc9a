"""Tables of the calculations offered, one module for each side of the boiler. `calculations.py` runs them."""
