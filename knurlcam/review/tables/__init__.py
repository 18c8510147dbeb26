"""The tables of the setter's page, as text: one module a subject."""
