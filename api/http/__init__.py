"""HTTP for every resource: strict fields, questions, pages, conditional requests, repeats, problems, limits."""
