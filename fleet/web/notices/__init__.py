"""Pages of the notices: what was sent, the call list as clock times, one's own addresses, and the links in messages."""
