"""Formulas: floats in, floats out, each with its source, an example and its range."""
