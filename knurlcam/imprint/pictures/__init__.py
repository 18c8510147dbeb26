"""Pictures of the surface that the rolls leave."""
