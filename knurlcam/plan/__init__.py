"""What is decided, and why."""
