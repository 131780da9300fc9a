"""The web server: reads each request whole before a thread of the site takes it.

`serve` starts the workers. `gate` is what each of them runs. Neither knows what the site answers.
"""
