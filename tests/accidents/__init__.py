"""What has gone wrong for people who did this job by hand, staged one by one: `catalogue.toml` has the list."""
