"""The call list: for what kind of alert who is told, and after how long who is told next."""
