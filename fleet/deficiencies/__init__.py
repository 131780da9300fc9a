"""Episodes of findings somebody must put right, and what people decided about them."""
