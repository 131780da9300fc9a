"""The visit sheet, in a real browser."""
