"""Random registers and stories, and a slow, naive checker of *clear* that shares no code with the rules."""
