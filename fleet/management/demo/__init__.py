"""The demonstration portfolio: invented people, streets and story, its dates relative to the day it is made."""
