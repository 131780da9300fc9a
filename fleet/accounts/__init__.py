"""Who people are, what they are allowed, what they are qualified for, and the keys of their devices."""
