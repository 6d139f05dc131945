"""Surveying: what a machine is (`collector.sh`, captures, the survey), and a first spec for it."""
