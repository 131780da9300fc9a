"""What is handed to somebody without an account: a boiler's year, a portfolio on one page, a visit, and their links."""
