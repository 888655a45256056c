"""What a source can carry: the arithmetic of a host's outlet. Pure; reaches no bench."""
