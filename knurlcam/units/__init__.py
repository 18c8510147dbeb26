"""Quantities as people write them, and figures as people read them."""
