"""Finding things from every page."""
