"""The tables of ``shared/`` as typed rows."""
