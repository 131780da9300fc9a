"""Append-only: visits, their entries and readings, and the corrections that restate them."""
