"""The pages: a door. Server-rendered; a page asks the board and holds no rules."""
