"""The boiler-room card: what its address opens for who has no account, and printing and ending it for who has one."""
