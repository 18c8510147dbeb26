"""The surface that the rolls leave, its pictures and files."""
