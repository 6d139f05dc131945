"""Reading: TOML text becomes a checked `Spec` or `Survey`, or faults with their places."""
