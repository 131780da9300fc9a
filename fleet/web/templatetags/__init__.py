"""How pages say things."""
