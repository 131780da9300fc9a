"""Pages about the site itself: the trade's words, and the licenses of what is served to browsers."""
