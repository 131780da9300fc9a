"""What every stored row has in common: base model, difference store, change events, versioned acts."""
