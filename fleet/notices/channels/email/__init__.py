"""E-mail: what one message looks like, and how it is handed to a mail server or kept in a folder."""
