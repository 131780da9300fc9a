"""Reports to hand over, and the pages behind their links."""
