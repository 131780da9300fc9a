"""The server-rendered pages: a door. Pages ask the board and hold no rules."""
