"""What is kept of an attempt: a journal while it grows, a closed and hashed record, a batch in numbers."""
