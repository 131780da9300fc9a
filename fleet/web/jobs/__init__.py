"""Jobs: the list, and making one."""
