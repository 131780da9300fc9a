"""The visit sheet for a phone in a boiler room."""
