"""Define what an installer talks of: words, jacks, markings, panels and visits."""
