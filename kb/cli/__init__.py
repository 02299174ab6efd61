"""What did the user type, and how does the answer look? One module a command."""
