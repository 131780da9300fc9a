"""What was and what happened, and how long a copy of an answer is good. Writes nothing."""
