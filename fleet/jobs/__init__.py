"""Who goes where, when, with what. Nothing here yet."""
