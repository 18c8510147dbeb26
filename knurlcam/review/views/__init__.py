"""The pictures of the setter's page: all coordinates are worked out here."""
