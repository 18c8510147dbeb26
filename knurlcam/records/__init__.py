"""What was measured on parts, kept; and what plans learn from it."""
