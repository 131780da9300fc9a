"""The status board, its rows and the wall of proof glasses."""
