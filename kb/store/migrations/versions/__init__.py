"""Hold one migration a file, named by number."""
