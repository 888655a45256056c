"""Statistics for few boards and for many, each from a published source; pure functions of numbers."""
