"""The engineering calculations as forms."""
