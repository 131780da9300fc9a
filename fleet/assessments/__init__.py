"""Verdicts, findings, ready or what is missing, and the answers given, word for word."""
