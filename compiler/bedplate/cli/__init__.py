"""The command line: the only package that touches disk, processes and terminal."""
