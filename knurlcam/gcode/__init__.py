"""Dialects; steps to program text; program text to motion."""
