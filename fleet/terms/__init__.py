"""What a portfolio adopted: season, leads, days. The first terms hold for all time, later ones from a midnight."""
