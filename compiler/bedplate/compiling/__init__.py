"""Compiling: the order of the stages, from documents to the install graph."""
