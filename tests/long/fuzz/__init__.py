"""Fuzzing: whatever a stranger's bytes say, they are taken or refused in words.

``python -m tests.long.fuzz`` runs every target; see DEVELOPERS.md for what a hit is.
"""
