"""Conditions that hold now and that somebody should know: reconciled with what the rules say, never fired."""
