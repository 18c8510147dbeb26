"""What the user asks for."""
