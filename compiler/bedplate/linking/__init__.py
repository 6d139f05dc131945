"""Linking: the actions of all steps become one ordered, explained install graph."""
