"""What measured figures of a part mean, and what to change."""
