"""What programs ask about the site as a whole: whether it is alive, whether it can serve, and its figures."""
