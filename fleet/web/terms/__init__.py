"""The page of a portfolio's terms."""
