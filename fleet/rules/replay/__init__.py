"""Which visits count, and their replay in the total order."""
