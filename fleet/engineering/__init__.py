"""PURE. Formulas with the units in their names."""
