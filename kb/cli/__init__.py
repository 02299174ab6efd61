"""Parse what the user typed and show the answer, one module a command."""
